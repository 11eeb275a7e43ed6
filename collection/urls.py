"""Every address of the app. A row of the access table in tests/collection/access stands for each."""

from django.urls import include, path

from collection.views import floors, instruments, machines, people, plans, sites, today

urlpatterns = [
    path("", today.welcome, name="welcome"),
    path("today/", today.today, name="today"),
    path("accounts/", include("allauth.account.urls")),
    path("organization/", people.organization, name="organization"),
    path("organization/edit/", people.organization_edit, name="organization_edit"),
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
    path("machines/", machines.machine_list, name="machines"),
    path("machines/new/", machines.machine_new, name="machine_new"),
    path("machines/<uuid:pk>/", machines.machine_detail, name="machine"),
    path("machines/<uuid:pk>/edit/", machines.machine_edit, name="machine_edit"),
    path("machines/<uuid:pk>/legs/", machines.machine_legs, name="machine_legs"),
    path("machines/<uuid:pk>/spec/", machines.machine_spec, name="machine_spec"),
    path("machines/<uuid:pk>/move/", machines.machine_move, name="machine_move"),
    path("instruments/", instruments.instrument_list, name="instruments"),
    path("instruments/new/", instruments.instrument_new, name="instrument_new"),
    path("instruments/<uuid:pk>/", instruments.instrument_detail, name="instrument"),
    path("instruments/<uuid:pk>/edit/", instruments.instrument_edit, name="instrument_edit"),
    path("instruments/<uuid:pk>/zero/", instruments.instrument_zero, name="instrument_zero"),
    path("machines/<uuid:pk>/plans/new/", plans.plan_new, name="plan_new"),
    path("plans/<uuid:pk>/", plans.plan_detail, name="plan"),
    path("plans/<uuid:pk>/turned/", plans.plan_turned, name="plan_turned"),
    path("plans/<uuid:pk>/sign-off/", plans.plan_sign_off, name="plan_sign_off"),
    path("plans/<uuid:pk>/set-aside/", plans.plan_set_aside, name="plan_set_aside"),
]
