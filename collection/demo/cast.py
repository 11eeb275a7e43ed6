"""The invented operation: sites, floors, titles. Nothing here is or resembles a real place, game or maker."""

from dataclasses import dataclass

ORGANIZATION = "Saltmarsh Route"
EMAIL = "demo@levelbook.example"


@dataclass(frozen=True)
class DemoFloor:
    """A floor with its size, its true slope toward the right wall and the back wall, and rows of bays."""

    name: str
    surface: str
    width_mm: float
    depth_mm: float
    slope_right_deg: float
    slope_back_deg: float
    bays: int
    against_a_wall: bool = False


@dataclass(frozen=True)
class DemoSite:
    """An address with its floors."""

    name: str
    address: str
    time_zone: str
    notes: str
    floors: tuple[DemoFloor, ...]


SITES = (
    DemoSite(
        "Tern Taproom", "2 Mudflat Lane", "Europe/London", "Park behind the brewhouse. Ask for the cellar key.",
        (DemoFloor("Main room", "carpet_on_concrete", 9000, 7000, 0.15, -0.25, 6),),
    ),
    DemoSite(
        "Millpond Bowl", "14 Sluice Road", "Europe/London", "Quiet on weekday mornings. Lane end has a drain.",
        (
            DemoFloor("Lane end", "tile", 14000, 6000, -0.3, 0.1, 8, against_a_wall=True),
            DemoFloor("Upstairs", "timber", 8000, 6000, 0.1, 0.45, 4),
        ),
    ),
    DemoSite(
        "Ferry Hall", "Pier 3", "Europe/London", "Badge from the ticket office. No lifting during boarding.",
        (DemoFloor("Waiting hall", "concrete", 20000, 9000, 0.05, -0.3, 8, against_a_wall=True),),
    ),
    DemoSite(
        "Hollow Barn", "Reedbed Farm", "Europe/London", "Private. The floor falls to the big door.",
        (DemoFloor("Threshing floor", "concrete", 12000, 8000, 0.0, 0.5, 9),),
    ),
    DemoSite(
        "Heron Launderette", "51 Causeway", "Europe/London", "Two machines by the window.",
        (DemoFloor("Shop floor", "tile", 7000, 5000, -0.2, 0.2, 3),),
    ),
    DemoSite(
        "Quayside Canteen", "8 Ropewalk", "Europe/London", "Closed on Mondays.",
        (DemoFloor("Dining room", "carpet_on_timber", 10000, 6000, 0.35, 0.0, 6),),
    ),
)  # fmt: skip

#: Dull on purpose: each was checked against general knowledge of real titles, and changed if it came near one.
TITLES = (
    "Lantern Reef", "Tin Kettle", "Paper Lighthouse", "Marsh Weather", "Copper Teapot", "Wet Gravel",
    "Harbour Ledger", "Nine Umbrellas", "Turnip Parade", "Wool Inspector", "The Long Hedge", "Foghorn Choir",
    "Brass Snail", "Ferry Timetable", "Moth Census", "Plaster Swan", "Cardboard Admiral", "Rainwater Committee",
    "Salt Bureau", "Two Ladders", "Quiet Sawmill", "Pickle Barometer", "Mudlark Weekly", "Linen Comet",
    "Herring Clerk", "Wicker Engine", "Pebble Post", "Oatmeal Orchestra", "Dockside Abacus", "Candle Inspector",
    "Tarpaulin Prince", "Sixpence Weir", "Reed Bed Radio", "Windmill Auditor", "Felt Submarine", "Chalk Ferry",
    "Barnacle Bank", "Beetroot Relay", "Thimble Ridge", "Broom Cupboard Opera", "Slate and Sleet", "Gate Nineteen",
)  # fmt: skip

ERAS = ("modern", "modern", "early_solid_state", "modern", "electromechanical")
BODIES = ("standard", "standard", "wide", "standard")
