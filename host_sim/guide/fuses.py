"""Every fuse that the guide draws beside the pumps' own, once: drawings and parts list take its rating from here."""

POST = "32 V DC, interrupting 1000 A or more, with holder, at the battery post"
# Name: (amperes, what it is).  All common practice, no source.
FUSES = {
    "FB": ("5 A", f"{POST}: controller, horn, beacon, alarm lines"),
    "FV": ("1 A", f"{POST}: battery divider, to X5:4"),
    "FF": ("0.1 A", "resettable, 0.1 A hold, 30 V: field supply"),
    "FL": ("63 mA", "quick-acting, 32 V DC or more, with holder: 24 V loop"),
    "FH": ("0.1 A", "resettable, 0.1 A hold, 16 V: 5 V for Hall sensors, to X5:5"),
    "FM": ("1 A", "250 V AC, interrupting 10 kA, with holder: mains relay KM"),
    "FA3": ("2 A", "32 V DC, with holder: horn"),
    "FA4": ("2 A", "32 V DC, with holder: beacon"),
    "FA5": ("1 A", "32 V DC, with holder: alarm line"),
    "FA6": ("1 A", "32 V DC, with holder: service line"),
}  # fmt: skip


def amps(name):
    """Return a fuse's rating as it is drawn: "5 A"."""
    return FUSES[name][0]


def rows(subject):
    """Return the rows of the parts list for a `subject.Subject`, without the fuses of what is not built."""
    left_out = {"FH": not subject.hall, "FL": not subject.has("level loop"), "FV": not subject.has("battery"),
                "FM": not subject.has("mains present")}  # fmt: skip
    found = [(1, f"fuse {name}", f"{rating}, {what}") for name, (rating, what) in FUSES.items()
             if not left_out.get(name)]  # fmt: skip
    return [*found, (1, "fuse FG", f"{subject.charger_fuse_a:g} A, {POST}: in the charger's plus lead")]
