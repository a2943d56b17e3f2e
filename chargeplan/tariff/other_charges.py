"""Makes the lines of one version that are not per kWh: fixed charges, demand, minimum, credits, percentages."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from chargeplan.errors import InputError
from chargeplan.reading import KeyPath
from chargeplan.tariff.complaints import Complaints
from chargeplan.tariff.dates import month_of
from chargeplan.tariff.energy_lines import LineMaker, first_period_only
from chargeplan.tariff.line_models import FixedLong, Minimum
from chargeplan.tariff.lines import CreditLine, DemandLine, FixedLine, MinimumLine, NetRule, PercentLine
from chargeplan.tariff.phrases import Fixed, Share
from chargeplan.tariff.price_arrays import is_reserved
from chargeplan.tariff.rates import CARRIED, CHARGES, COLUMNS, EXPORT, MARKET, MINIMUM, Rates
from chargeplan.units import quantity

#: What a demand may be averaged over: minutes that divide an hour.
_INTERVALS: Final = (1, 5, 10, 15, 20, 30, 60)
#: What a line under each key is called in messages.
_CALLED: Final = {
    "components": "component",
    "adders": "adder",
    "fixed": "fixed charge",
    "demand": "demand charge",
    "export_components": "part of the export",
    "taxes": "tax",
    "credits": "credit",
}


@dataclass
class ChargeMaker:
    """Makes the other lines of one version.

    Parameters
    ----------
    complaints : Complaints
        Where mistakes go.
    lines : LineMaker
        Makes price tables.
    """

    complaints: Complaints
    lines: LineMaker

    def complete(self, rates: Rates) -> Rates:
        """Add the other lines to the rates of a version."""
        terms = self.lines.maker.terms
        rates = replace(
            rates,
            fixed=self._fixed(),
            demand=self._demand(),
            credits=self._credits(),
            net=self._net(),
            loss_share=self.number(terms.losses, "share", ("losses",)) or 0.0,
            power_factor=terms.power_factor or 1.0,
        )
        if terms.contracted is not None:
            rates = replace(
                rates,
                contracted_kw=self.number(terms.contracted.power, "power", ("contracted", "power")),
                contracted_a=self.number(terms.contracted.current, "current", ("contracted", "current")),
            )
        rates = replace(rates, minimum=self._minimum(rates))
        self._check_names(rates)
        return replace(rates, percents=self._percents(rates))

    def number(self, text: str | None, kind: str, path: KeyPath) -> float | None:
        """Read a quantity, and complain if it is none."""
        if text is None:
            return None
        try:
            return quantity(text, kind)
        except InputError as error:
            self.complaints.add_error(path, error)
            return None

    def _fixed(self) -> tuple[FixedLine, ...]:
        given = self.lines.maker.terms.fixed
        if given is None:
            return ()
        named: Mapping[str, Any] = given if isinstance(given, dict) else {"fixed": given}
        found = []
        for name, charge in named.items():
            path: KeyPath = ("fixed", name) if isinstance(given, dict) else ("fixed",)
            place = self.complaints.place(path)
            if isinstance(charge, Fixed):
                found.append(FixedLine(name, charge, place=place))
            else:
                found.append(self._long(name, charge, path, place))
        return tuple(found)

    def _long(self, name: str, given: FixedLong, path: KeyPath, place: str) -> FixedLine:
        if (given.charge is None) == (given.by_use is None) and not self.complaints.is_broken(*path):
            what = "neither `charge` nor `by_use` is given" if given.charge is None else "both are given"
            self.complaints.add(path, what, "write for example `charge: 12 per month`, and only one of the two")
        charge = given.charge or Fixed(0.0, given.per)
        unit = {"kW": "power", "kVA": "power", "A": "current"}.get(charge.of)
        contracted = None
        if given.contracted is not None and unit is None:
            what = f"a charge per {charge.per} has nothing to do with a contract"
            self.complaints.add((*path, "contracted"), what, "write for example 1.71 per kW per month")
        elif given.contracted is not None:
            contracted = self.number(given.contracted, unit or "power", (*path, "contracted"))
        unused = self.number(given.unused, "share", (*path, "unused"))
        return FixedLine(name, charge, given.by_use, contracted, 1.0 if unused is None else unused, place)

    def _demand(self) -> tuple[DemandLine, ...]:
        found = []
        for name, given in (self.lines.maker.terms.demand or {}).items():
            path: KeyPath = ("demand", name)
            table, only = self.lines.demand_table(given, path)
            prices = self.lines.demand_prices(given, path, table)
            charged, price = first_period_only(prices.charged, prices.price) if only else (prices.charged, prices.price)
            minutes = self.number(given.interval, "duration", (*path, "interval"))
            if minutes is not None and minutes not in _INTERVALS:
                known = ", ".join(map(str, _INTERVALS[:-1]))
                what = f"power cannot be averaged over {given.interval}"
                self.complaints.add((*path, "interval"), what, f"write {known} or 60 min")
                minutes = None
            share = self.number(given.or_share_of_kva, "share", (*path, "or_share_of_kva")) or 0.0
            if share and given.unit == "kVA":
                what = "a demand in kVA has no share of the kVA"
                self.complaints.add((*path, "or_share_of_kva"), what, "leave `unit: kVA` out")
            names = self.lines.maker.tables[table].seasons
            if given.at_least is not None and given.at_least.season and given.at_least.season not in names:
                what = f"`{given.at_least.season}` is not a season of this line"
                self.complaints.add((*path, "at_least"), what, f"known are {', '.join(filter(None, names)) or 'none'}")
            found.append(
                DemandLine(
                    name,
                    table,
                    price,
                    prices.limits,
                    charged,
                    prices.places,
                    round(60 * (minutes or 60)),
                    given.measure == "mean of daily highest",
                    given.per,
                    given.unit,
                    share,
                    given.at_least,
                )
            )
        return tuple(found)

    def _credits(self) -> tuple[CreditLine, ...]:
        given = self.lines.maker.terms.credits or {}
        return tuple(
            CreditLine(name, credit, self.complaints.place(("credits", name)))
            for name, credit in given.items()
            if not isinstance(credit, Share)
        )

    def _net(self) -> NetRule | None:
        given = self.lines.maker.terms.net_metering
        if given is None:
            return None
        month = 12
        try:
            month = month_of(given.true_up)
        except InputError as error:
            self.complaints.add_error(("net_metering", "true_up"), error)
        return NetRule(given.carry, month, given.surplus, self.complaints.place(("net_metering",)))

    def _minimum(self, rates: Rates) -> MinimumLine | None:
        given = self.lines.maker.terms.minimum
        if given is None:
            return None
        charge = given.charge if isinstance(given, Minimum) else given
        of = tuple(name for name in rates.charges if name != MINIMUM)
        if isinstance(given, Minimum) and given.of is not None:
            known = set(of) - {CARRIED}
            for name in given.of:
                if name not in known and not self._may_be_broken(name):
                    what = f"`{name}` is no charge of this sheet"
                    self.complaints.add(("minimum", "of"), what, f"known are {', '.join(sorted(known))}")
            of = tuple(given.of)
        if charge.of:
            what = f"a minimum per {charge.of} cannot be worked out"
            self.complaints.add(("minimum",), what, "write for example 15 per month")
        return MinimumLine(charge, of, self.complaints.place(("minimum",)))

    def _may_be_broken(self, name: str) -> bool:
        """Tell whether a line may be missing because of a mistake that is told already."""
        if name == MARKET and (self.lines.maker.terms.market is not None or self.complaints.is_broken("market")):
            return True
        kinds = ("components", "adders", "taxes", "credits", "fixed", "demand", "export_components")
        return any(self.complaints.is_broken(kind) for kind in kinds)

    def _check_names(self, rates: Rates) -> None:
        seen: dict[str, str] = {}
        terms = self.lines.maker.terms
        plain = {"fixed": {"fixed"}} if terms.fixed is not None and not isinstance(terms.fixed, dict) else {}
        for kind in ("components", "adders", "fixed", "demand", "export_components", "credits", "taxes"):
            for name in plain.get(kind) or getattr(terms, kind) or ():
                if name in (*COLUMNS, CHARGES, MARKET, MINIMUM, CARRIED, EXPORT) or is_reserved(name):
                    what = f"`{name}` is the name of another column"
                    if name not in COLUMNS:
                        what = f"`{name}` has a meaning of its own"
                    self.complaints.add((kind, name), what, "give it another name")
                elif name in seen and not (kind == "adders" and seen[name] == "components"):
                    what = f"`{name}` is {_article(_CALLED.get(seen[name], seen[name]))} already"
                    remedy = f"give the {_CALLED.get(kind, kind)} another name"
                    if kind in plain:
                        remedy = "give one of them another name, as in `fixed: {basic: 12 per month}`"
                    self.complaints.add((kind, name), what, remedy)
                seen.setdefault(name, kind)

    def _percents(self, rates: Rates) -> tuple[PercentLine, ...]:
        terms = self.lines.maker.terms
        given: dict[str, tuple[str, Share]] = {}
        for name, credit in (terms.credits or {}).items():
            if isinstance(credit, Share):
                given[name] = "credit", replace(credit, share=-credit.share)
        given |= {name: ("tax", tax) for name, tax in (terms.taxes or {}).items()}
        groups = {CHARGES: rates.charges, EXPORT: tuple(line.name for line in rates.sold)}
        known = {*rates.charges, *groups[EXPORT], *(line.name for line in rates.credits), *given, CHARGES}
        bases: dict[str, tuple[str, ...]] = {}
        for name, (kind, share) in given.items():
            path: KeyPath = ("credits" if kind == "credit" else "taxes", name)
            of: list[str] = []
            for base in share.of or (CHARGES,):
                if base not in known and not (base == EXPORT and rates.net) and not self._may_be_broken(base):
                    what = f"`{base}` is no line of this sheet"
                    shown = sorted(known - {name, CARRIED}, key=lambda word: (word == CHARGES, word))
                    self.complaints.add(path, what, f"known are {', '.join(shown)}")
                of += groups.get(base, (base,))
            bases[name] = tuple(of)

        def complain(circle: Iterable[str]) -> None:
            names = list(circle)
            if len(names) == 1:
                return  # a name that is taken twice, said already
            path: KeyPath = ("credits" if given[names[0]][0] == "credit" else "taxes", names[0])
            what = f"{' and '.join(f'`{name}`' for name in names)} refer to one another in a circle"
            self.complaints.add(path, what, "let one of them name the lines below it only")

        order = in_order(bases, complain)
        return tuple(
            PercentLine(
                name,
                given[name][1].share,
                bases[name],
                given[name][0],
                self.complaints.place(("credits" if given[name][0] == "credit" else "taxes", name)),
            )
            for name in order
        )


def _article(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"


def in_order(bases: Mapping[str, tuple[str, ...]], complain: Callable[[Iterable[str]], None]) -> tuple[str, ...]:
    """Sort percentages so that each comes after those it names, as far as possible in the order given.

    Parameters
    ----------
    bases : mapping of name to tuple of str
        What each names; names that are no keys are free.
    complain : callable
        Called with the names that are left if they refer to one another in a circle.

    Returns
    -------
    tuple of str
        Names that can be worked out, in order.

    Examples
    --------
    >>> in_order({"concession": ("gst",), "gst": ("energy",)}, print)
    ('gst', 'concession')
    """
    done: list[str] = []
    left = list(bases)
    while left:
        ready = [name for name in left if not any(base in left for base in bases[name])]
        if not ready:
            complain(left)
            break
        done.append(ready[0])
        left.remove(ready[0])
    return tuple(done)
