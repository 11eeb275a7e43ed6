"""One planted fault for each way to break the layers, sizes, reads and writes: (rule, tree, words of the fault)."""

import rules_layers as layers
import rules_sizes as sizes
import rules_web as web

_SITE = "collection/views/sites.py"
_PLANS = "collection/models/plans.py"
_LONG_VIEW = "def page(request):\n" + "    request.seen = True\n" * sizes.VIEW_LINES
_MANY = "\n".join(f"NAME_{number} = {number}" for number in range(sizes.ENGINE_NAMES + 1))
_QUERY = "def plans_of(*, member) -> QuerySet[Plan]:\n    return "

FAULTS = (
    # A form that reads rows queries while it validates.
    (
        layers.layer_faults,
        {"collection/forms/plans.py": "from collection.models.plans import Plan", _PLANS: ""},
        "forms/plans.py:1 imports collection.models.plans",
    ),
    # Writes are not made while parsing either.
    (
        layers.layer_faults,
        {"collection/forms/plans.py": "from collection.actions import plans", "collection/actions/plans.py": ""},
        "imports collection.actions.plans: not below forms",
    ),
    (layers.layer_faults, {_SITE: "from leveling import turns", "leveling/turns.py": ""}, "leveling.turns"),
    (layers.layer_faults, {_PLANS: "from collection import access", "collection/access.py": ""}, "not below models"),
    # Upward, by a relative import.
    (layers.layer_faults, {"collection/queries/sites.py": "from ..views import sites", _SITE: ""}, "views.sites"),
    (layers.layer_faults, {"collection/settings.py": "import collection.models", _PLANS: ""}, "not below settings"),
    (layers.layer_faults, {"collection/helpers.py": ""}, "helpers is in no layer"),
    (layers.manager_faults, {_SITE: "def page(request):\n    return Site.objects.all()"}, "sites.py:2 Site.objects"),
    (layers.door_faults, {"collection/queries/plans.py": "import numpy as np"}, "only arrays may"),
    (layers.door_faults, {"collection/actions/visits.py": "from pyvrp import Model"}, "only routing may"),
    (layers.engine_faults, {"leveling/turns.py": "from django.db import models"}, "the engine is pure"),
    (layers.engine_faults, {"leveling/drift.py": "import time"}, "imports time"),
    (layers.engine_faults, {"leveling/frame.py": "from leveling import turns", "leveling/turns.py": ""}, "builds on"),
    (layers.engine_faults, {"leveling/turns.py": "import collection.arrays"}, "the engine is pure"),
    (layers.engine_faults, {"leveling/helpers.py": ""}, "in no row of the engine"),
    (
        layers.cycle_faults,
        {"leveling/turns.py": "import leveling.verdicts", "leveling/verdicts.py": "from leveling import turns"},
        "a circle of imports",
    ),
    # A module that imports its own package root, which imports it.
    (
        layers.cycle_faults,
        {"collection/models/__init__.py": "from collection.models import plans", _PLANS: "import collection.models"},
        "a circle of imports",
    ),
    (layers.hidden_import_faults, {_SITE: "def page(request):\n    import json"}, "imports json inside page"),
    (layers.hidden_import_faults, {"tests/test_x.py": "class A:\n    def ready(self):\n        import re"}, "A.ready"),
    (layers.package_faults, {"leveling/__init__.py": "import numpy"}, "words, not imports"),
    (sizes.size_faults, {"tests/test_long.py": "x = 1\n" * (sizes.FILE_LINES + 1)}, "at most 400"),
    (sizes.size_faults, {_SITE: _LONG_VIEW}, "sites.py:1 page: 41 lines, at most 40"),
    (sizes.engine_name_faults, {"leveling/turns.py": _MANY}, "13 public names"),
    (sizes.noun_faults, {"collection/queries/rumours.py": ""}, "rumours is not one of"),
    (sizes.noun_faults, {"collection/views/plans/list.py": ""}, "plans/list is not one of"),
    (
        web.action_faults,
        {"collection/actions/plans.py": "@transaction.atomic\ndef accept_plan(plan, *, by): ..."},
        "plan by position",
    ),
    (web.action_faults, {"collection/actions/plans.py": "def accept_plan(*, plan): ..."}, "accept_plan: not atomic"),
    (web.reader_faults, {_SITE: "def page(site):\n    site.save()"}, "sites.py:2 site.save"),
    (web.reader_faults, {"collection/queries/sites.py": "Site.objects.create(name='x')"}, "Site.objects.create"),
    (web.fetch_faults, {"collection/queries/plans.py": _QUERY + "Plan.objects.all()"}, "plans_of: not ending in"),
    (
        web.fetch_faults,
        {"collection/queries/plans.py": _QUERY + "Plan.objects.fetch_mode(models.FETCH_PEERS)"},
        "plans_of: not ending in",
    ),
    # Something done after it may bring the lazy mode back.
    (
        web.fetch_faults,
        {"collection/queries/plans.py": _QUERY + "Plan.objects.fetch_mode(models.FETCH_RAISE).order_by('id')"},
        "plans_of: not ending in",
    ),
    (web.banned_faults, {"collection/forms/sites.py": "class SiteForm(forms.ModelForm): ..."}, "uses ModelForm"),
)

INNOCENT = (
    (
        layers.layer_faults,
        {
            _SITE: "from collection.actions import sites\nfrom leveling.errors import BadInput",
            "collection/actions/sites.py": "from collection.models.plans import Plan\nfrom collection import arrays",
            "collection/arrays.py": "from leveling import turns",
            "leveling/errors.py": "",
            "leveling/turns.py": "",
            _PLANS: "",
        },
    ),
    (
        layers.engine_faults,
        {"leveling/turns_lattice.py": "import math\nfrom scipy import optimize\nimport numpy as np"},
    ),
    (layers.cycle_faults, {"leveling/turns.py": "from leveling import units", "leveling/units.py": ""}),
    (
        layers.hidden_import_faults,
        {"collection/apps.py": "class AnyConfig(AppConfig):\n    def ready(self):\n        import collection.checks"},
    ),
    (web.action_faults, {"collection/actions/plans.py": "def go(*, plan):\n    with transaction.atomic(): ..."}),
    (web.fetch_faults, {"collection/queries/plans.py": _QUERY + "Plan.objects.fetch_mode(models.FETCH_RAISE)"}),
)
