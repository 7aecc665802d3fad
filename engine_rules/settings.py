"""What was set on a run, as far as it moves readings: fuel, timing, air and plugs, as numbers that can be compared."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from engine_rules.fuel import station_area_in2
from engine_rules.labels import label_key
from engine_rules.logbook import Logbook, Run
from engine_rules.weather import air_state

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """One run's setting. flow_pct: K stations, 100 x the logarithm of their area. trim_pct, timing_deg: N cylinders.

    dry_pct, moist_pct: 100 x the logarithm of the densities, None where the air was not all logged. rungs: of each
    cylinder's plug on the shelf, None where unknown. families: plugs of one family differ in heat alone.
    """

    flow_pct: Array
    trim_pct: Array
    timing_deg: Array
    air_pct: tuple[float, float] | None
    rungs: tuple[int | None, ...]
    families: tuple[str, ...]


@dataclass(slots=True)
class SettingReader:
    """Reads the settings of one log; what is looked up for one run is kept for the next."""

    logbook: Logbook
    _flows: dict[tuple[str, str], float] = field(default_factory=dict)
    _plugs: dict[str, tuple[int | None, str]] = field(default_factory=dict)

    def read(self, run: Run) -> Setting | str:
        """The setting of a run, or what it lacks in words."""
        engine, tuneup = self.logbook.engine, run.tuneup
        lacking = [one.name for one in engine.stations if one.name not in tuneup.jets]
        if lacking:
            return f"the jets at {', '.join(lacking)} were not logged"
        if tuneup.total_timing_deg is None:
            return "its total timing was not logged"
        unknown = [entry.value for entry in tuneup.jets.values() if entry.value not in self.logbook.jets]
        if engine.stations and unknown:
            return f"jet {unknown[0]} is not on the sheet Jets"
        by_cylinder = {reading.cylinder: reading for reading in run.readings}
        trims, timing, rungs, families = [], [], [], []
        for number in engine.numbers:
            reading = by_cylinder.get(number)
            fuel = reading.fuel_trim_pct if reading is not None else None
            spark = reading.timing_trim_deg if reading is not None else None
            trims.append(fuel.value if fuel is not None else 0.0)
            timing.append(tuneup.total_timing_deg.value + (spark.value if spark is not None else 0.0))
            rung, family = self._plug(reading.plug.value if reading is not None and reading.plug is not None else "")
            rungs.append(rung)
            families.append(family)
        flows = [self._flow(one.end, tuneup.jets[one.name].value) for one in engine.stations]
        return Setting(np.array(flows), np.array(trims), np.array(timing), _air(run), tuple(rungs), tuple(families))

    def _flow(self, end: str, label: str) -> float:
        if (end, label) not in self._flows:
            enrichment = self.logbook.engine.enrichment_area_in2.get(end, 0.0)
            area = station_area_in2(self.logbook.jets.jet(label).bore_in, enrichment)
            self._flows[end, label] = 100.0 * math.log(area)
        return self._flows[end, label]

    def _plug(self, label: str) -> tuple[int | None, str]:
        """Rung and family. Plugs that share heat and tip are of different makes, so each is a family of its own."""
        if label not in self._plugs:
            shelf = self.logbook.plugs
            if not label or label not in shelf:
                self._plugs[label] = (None, label and label_key(label))
            else:
                plug = shelf.plug(label)
                alike = [one for one in shelf.plugs if (one.heat_order, one.tip) == (plug.heat_order, plug.tip)]
                self._plugs[label] = (shelf.rung(plug), f"{plug.tip} {alike.index(plug)}")
        return self._plugs[label]


def _air(run: Run) -> tuple[float, float] | None:
    air = air_state(run.air)
    if air is None:
        return None
    return 100.0 * math.log(air.dry_density_kg_m3), 100.0 * math.log(air.moist_density_kg_m3)
