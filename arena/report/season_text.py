"""What `arena new season --from-logs` prints, and its JSON document."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from arena.report import screen
from arena.units import Units

if TYPE_CHECKING:
    from arena.garage.season_from_logs import LogSeason, Recorded


def season_document(made: LogSeason) -> dict[str, Any]:
    """The sorted logs, the season's rows, the files written."""
    return {
        "schema": 1,
        "season": str(made.path),
        "days": made.days,
        "days_from": made.days_from,
        "kinds": [
            {
                "name": kind.name,
                "logs": [d.name for d in kind.drives],
                "stands_for_them": kind.model.name,
                "minutes": sum(d.seconds for d in kind.drives) / 60.0 / len(kind.drives),
                "km": sum(d.km for d in kind.drives) / len(kind.drives),
                "boost_share": boost_share(kind.drives),
                "ambient_c": [d.ambient_c for d in kind.drives],
            }
            for kind in made.kinds
        ],
        "rows": [{"drive": r.kind, "climate": r.climate, "logs": r.logs, "per_year": r.per_year} for r in made.rows],
        "climates": [{"name": name, "air_c": air} for name, air in made.climates.items()],
        "written": [str(path) for path in made.written],
        "left_out": list(made.left_out),
        "notes": list(made.notes),
    }


def boost_share(drives: tuple[Recorded, ...]) -> float | None:
    """Share of the time on boost over drives that log MAP; None if none does."""
    known = [(d.seconds, d.boost_share) for d in drives if d.boost_share is not None]
    return sum(s * share for s, share in known) / sum(s for s, _ in known) if known else None


def show_season_from_logs(made: LogSeason, units: Units) -> None:
    """Kinds of drive with counts, boost and temperatures; the season's rows; what was left out."""
    screen.say(f"{len(made.drives)} drives in the logs, over {made.days:.0f} days ({made.days_from})")
    screen.say()
    far = units.labelled(0.0, "km")[1]
    rows = []
    for kind in made.kinds:
        air = sorted(d.ambient_c for d in kind.drives if d.ambient_c is not None)
        share = boost_share(kind.drives)
        lowest, highest = (f"{units.labelled(t, 'degC')[0]:.0f}" for t in (air[0], air[-1])) if air else ("-", "-")
        rows.append(
            [
                kind.name,
                str(len(kind.drives)),
                f"{sum(d.seconds for d in kind.drives) / 60.0 / len(kind.drives):.0f}",
                f"{units.labelled(sum(d.km for d in kind.drives) / len(kind.drives), 'km')[0]:.1f}",
                "-" if share is None else f"{100.0 * share:.1f}",
                lowest if lowest == highest else f"{lowest}..{highest}",
                kind.model.name,
            ]
        )
    headers = [("kind of drive", "left"), ("logs", "right"), ("min", "right"), (far, "right"), ("boost %", "right")]
    screen.show(screen.table([*headers, (f"air {units.temperature_unit}", "right"), ("played", "left")], rows))
    screen.say()
    rows = []
    for row in made.rows:
        known = made.climates[row.climate]
        said = "" if known is None else "{:.0f} {}".format(*units.labelled(known, "degC"))
        rows.append([row.kind, row.climate, said, str(row.logs), f"{row.per_year:g}"])
    headers = [("season", "left"), ("climate", "left"), ("air", "right"), ("logs", "right"), ("a year", "right")]
    screen.show(screen.table(headers, rows))
    screen.say()
    for note in made.notes:
        screen.say(f"note: {note}")
    for line in made.left_out:
        screen.say(f"left out: {line}")
    screen.say(f"written: {', '.join(str(path) for path in made.written)}")
    screen.say(f"play it: arena tournament {made.path}")
