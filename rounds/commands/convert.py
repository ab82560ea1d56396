"""`rounds convert`: a value in another unit of its quantity."""

from __future__ import annotations

import argparse

from rounds.commands import Command
from rounds.commands.opening import print_json


def options(command: Command) -> None:
    command.option(
        "request", metavar="VALUE UNIT to UNIT", nargs="*",
        help='such as: 53.07 mS/cm to PSU at "25 °C, 35 PSU", or 12 cm to L litres_per_cm=2.4; nothing lists the units',
    )  # fmt: skip
    command.json("as JSON, the value unrounded")


def run(options: argparse.Namespace) -> int:
    from rounds.core.numbers import figures
    from rounds.water.convert import convert
    from rounds.water.requests import read_request

    if not options.request:
        _list_units(as_json=options.json)
        return 0
    request = read_request(" ".join(options.request))
    found = convert(request)
    if options.json:
        asked = {"value": request.value, "unit": request.unit}
        answer = {"value": found.value, "unit": found.unit, "bound": request.bound, "quantity": found.quantity}
        how = {"method": found.method, "arithmetic": found.arithmetic, "assumed": found.assumed}
        print_json({**answer, "from": asked, **how})
        return 0
    bound = request.bound or ""
    said = f"{bound}{figures(request.value)} {request.unit} = {bound}{figures(found.value)} {found.unit}"
    print(said)
    for line in found.arithmetic:
        print(f"  {line.removeprefix(f'{said}: ')}")
    if found.assumed:
        print(f'  taken for granted: {", ".join(found.assumed)}; give your own: at "25 °C, 35 PSU"')
    return 0


def _list_units(*, as_json: bool) -> None:
    from rounds.core.quantities import QUANTITIES

    units = {name: [unit.name for unit in kind.every_unit] for name, kind in QUANTITIES.items() if kind.canonical}
    if as_json:
        print_json(units)
        return
    for name, names in units.items():
        print(f"{name}: {', '.join(names)}")
