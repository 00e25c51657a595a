"""What an entry or a unit cell takes, and what the person is told there."""

import math

from sheetcalc import units
from sheetcalc.build.grid import Area, Rule, reference
from sheetcalc.layouts import Field, LayoutError, System

# What both file formats hold in full.
_TITLE, _TEXT, _LIST = 32, 255, 255


def entry(sheet: str, field: Field, system: System, area: Area, unit: str) -> Rule:
    """The rule for a field's entry cells; `unit` is the reference to its unit cell."""
    title = _cut(field.heading, _TITLE)
    prompt = _cut(f"{field.help} Needed." if field.needed else field.help, _TEXT)
    if field.choices:
        return Rule(area, title, prompt, choices=_listed(sheet, field))
    if field.low is None and field.high is None:
        return Rule(area, title, prompt)
    return Rule(
        area,
        title,
        prompt,
        condition=_within(field, system, reference(area.row, area.column), unit),
        doubt=_cut(_doubt(field, system), _TEXT),
    )


def unit(field: Field, area: Area) -> Rule:
    """The rule for the unit cell of a field."""
    return Rule(
        area, _cut(field.heading, _TITLE), "The unit it is read and written in.", choices=field.offered
    )


def _listed(sheet: str, field: Field) -> tuple[str, ...]:
    """The choices, where a drop-down can hold them."""
    where = f"{sheet}.toml, key {field.key!r}"
    for choice in field.choices:
        if not isinstance(choice, str) or not choice.strip() or any(sign in choice for sign in ',"'):
            raise LayoutError(f"{where}: the choice {choice!r} has to be a text without commas and quotes.")
    if len(",".join(field.choices)) > _LIST:
        raise LayoutError(f"{where}: the choices are longer than {_LIST} characters together.")
    return field.choices


def _within(field: Field, system: System, value: str, unit: str) -> str:
    """A condition that lets pass: text (it may carry its own unit), another unit, a usual number."""
    low, high = _limits(field, system)
    passes = [f"ISTEXT({value})", _between(value, low, high)]
    if field.units:
        passes.append(f'{unit}<>"{field.unit[system]}"')
    if field.quantity == "gravity" and field.unit[system] == "SG":
        # Many hydrometers are numbered in thousandths: 1045 is read as 1.045.
        passes.append(_between(value, low and low * 1000, high and high * 1000))
    return f"OR({';'.join(passes)})"


def _between(value: str, low: float | None, high: float | None) -> str:
    bounds = [f"{value}>={low:.10g}"] if low is not None else []
    bounds += [f"{value}<={high:.10g}"] if high is not None else []
    return f"AND({';'.join(bounds)})"


def _limits(field: Field, system: System) -> tuple[float | None, float | None]:
    """The limits in the unit that stands in a new workbook, as round as a person would say them."""
    label = field.unit.get(system, "")
    low, high = (
        None if limit is None else _round(float(units.from_base(limit, field.quantity, label)))
        for limit in (field.low, field.high)
    )
    return low, high


def _round(limit: float) -> float:
    """A limit that has a long tail in this unit, such as 14763.78 ft, with two digits."""
    short = float(f"{limit:.4g}")
    return short if math.isclose(short, limit, rel_tol=1e-9) else float(f"{limit:.2g}")


def _doubt(field: Field, system: System) -> str:
    low, high = _limits(field, system)
    label = field.unit.get(system, "")
    shown = f" {label}" if label not in ("", "SG") else ""
    if low is None:
        usual = f"up to {high:.10g}{shown}"
    elif high is None:
        usual = f"from {low:.10g}{shown}"
    else:
        usual = f"{low:.10g} to {high:.10g}{shown}"
    own = " The cell may also carry its own unit." if field.units else ""
    return f"The usual range is {usual}.{own} Keep it if it is right."


def _cut(text: str, length: int) -> str:
    return text if len(text) <= length else f"{text[: length - 1]}…"
