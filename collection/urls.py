"""Every address of the app. A row of the access table in tests/collection/access stands for each."""

from django.urls import include, path

from collection.views import floors, people, sites, today

urlpatterns = [
    path("", today.welcome, name="welcome"),
    path("today/", today.today, name="today"),
    path("accounts/", include("allauth.account.urls")),
    path("organization/", people.organization, name="organization"),
    path("organization/new/", people.organization_new, name="organization_new"),
    path("organization/choose/", people.organization_choose, name="organization_choose"),
    path("sites/", sites.site_list, name="sites"),
    path("sites/new/", sites.site_new, name="site_new"),
    path("sites/<uuid:pk>/", sites.site_detail, name="site"),
    path("sites/<uuid:pk>/edit/", sites.site_edit, name="site_edit"),
    path("sites/<uuid:pk>/floors/new/", floors.floor_new, name="floor_new"),
    path("floors/<uuid:pk>/", floors.floor_detail, name="floor"),
    path("floors/<uuid:pk>/edit/", floors.floor_edit, name="floor_edit"),
    path("floors/<uuid:pk>/slope/", floors.floor_slope, name="floor_slope"),
    path("floors/<uuid:pk>/bays/new/", floors.bay_new, name="bay_new"),
    path("bays/<uuid:pk>/", floors.bay_detail, name="bay"),
    path("bays/<uuid:pk>/edit/", floors.bay_edit, name="bay_edit"),
    path("bays/<uuid:pk>/slope/", floors.bay_slope, name="bay_slope"),
]
