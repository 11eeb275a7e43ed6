"""Every address of the app. A row of the access table in tests/collection/access stands for each."""

from django.urls import include, path

from collection.views import people, sites, today

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
]
