"""Random days of training in an invented place: drills with targets, steps, strikes, depths, disturbances, some of them ended early, called off,
or written by two people."""

from datetime import datetime, timedelta, timezone

ZONE = timezone(timedelta(hours=1))
STEPS = ["signal", "coarse", "fine", "probing", "strike", "digging", "airway", "extricated"]
SOURCES = ["phone", "radio", "camera", "power_line", "metal"]


def season(rng, days):
    """Days of a winter, each (date, area, lines)."""
    start = datetime(2027, 1, 9, 9, 0, tzinfo=ZONE)
    dates = sorted(rng.sample(range(90), days))
    return [day(rng, start + timedelta(days=n)) for n in dates]


def day(rng, begin):
    """One day: (date, area, lines)."""
    lines = []
    at = begin

    def add(kind, by="Lead", after_s=0.0, **fields):
        time = (at + timedelta(seconds=after_s)).isoformat(timespec="milliseconds")
        lines.append({"kind": kind, "at": time, "by": by, **{k: v for k, v in fields.items() if v is not None}})

    def maybe(chance, value):
        return value if rng.random() < chance else None

    for n in range(1, rng.randint(2, 6)):
        label = str(n)
        like = maybe(0.2, str(rng.randint(1, n - 1))) if n > 1 else None
        add("drill", label=label, form=rng.choice(["single", "multiple", "scenario"]), like=like,
            team=rng.choice(["Red", "Blue", "Red team of Anna"]), slope_deg=maybe(0.8, rng.randint(0, 45)),
            limit_s=maybe(0.6, rng.choice([300, 600, 900])))
        targets = ["A", "B"][: rng.randint(1, 2)]
        if like is None:
            for target in targets:
                add("target", drill=label, label=target, item=f"TX{rng.randint(1, 40):02}",
                    set_depth_cm=maybe(0.8, rng.randint(40, 200)),
                    direction=rng.choice(["slope_normal", "vertical", "unknown"]),
                    orientation=rng.choice(["flat", "upright", "tilted"]))
        at += timedelta(minutes=10)
        add("moment", "Obs1", drill=label, step=maybe(0.95, "start") or "pause")
        stops = rng.randint(0, 8)
        t = 0.0
        for place, step in enumerate(STEPS):
            t += rng.choice([30, 45, 60, 90]) + rng.choice([0, 0.25, rng.random()])
            if place >= stops:
                break
            for target in targets:
                if rng.random() < 0.9:
                    add("moment", "Obs1", t, drill=label, target=target, step=step)
        for target in targets:
            if stops > 4 and rng.random() < 0.8:
                strike = {"drill": label, "target": target, "outcome": "hit", "depth_cm": rng.randint(40, 220),
                          "lowest_reading_m": maybe(0.7, rng.randint(5, 30) / 10),
                          "direction": maybe(0.5, rng.choice(["slope_normal", "vertical", "unknown"]))}
                add("strike", "Obs1", t, **strike)
                if rng.random() < 0.3:
                    add("strike", "Obs2", t + 2, **{**strike, "depth_cm": strike["depth_cm"] + 2})
            for _ in range(rng.choice([0, 0, 1, 2])):
                add("depth", rng.choice(["Obs1", "Obs2"]), t + 300 + 900 * rng.random(), drill=label, target=target,
                    depth_cm=rng.randint(40, 220), method=maybe(0.9, rng.choice(["probe", "tape", "reading"])),
                    datum=maybe(0.8, rng.choice(["first_contact", "airway", "top", "unknown"])),
                    direction=maybe(0.8, rng.choice(["slope_normal", "vertical", "unknown"])))
        for _ in range(rng.choice([0, 0, 1, 2])):
            add("interference", "Obs2", 20 + 200 * rng.random(), drill=maybe(0.9, label), source=rng.choice(SOURCES),
                distance_cm=maybe(0.7, rng.randint(5, 300)), mode=maybe(0.5, "search"))
        if rng.random() < 0.7:
            add("moment", "Obs1", t + rng.randint(5, 200), drill=label, step="end",
                why=rng.choice(["done", "limit", "safety", "cancelled"]))
        at += timedelta(minutes=30)
    return begin.date().isoformat(), "Upper Bowl", lines
