"""Checking a site: each pump is looked at in the way that disturbs nobody, and proven."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from api.analysis.facts_of_site import pump_facts
from api.analysis.frames import frame_between
from api.analysis.provenance_look import LOOK_BACK_MS
from api.proving.declared import provenance_note, provenance_proof, unfinished
from api.proving.live import Look, Wanted, look_at_bus
from api.proving.panel_proofs import panel_proofs
from api.proving.proof import Proof, Verdict
from api.proving.prove import prove
from api.proving.samples import Sample
from api.proving.stated import Stated, stated_of
from api.proving.stored import IMPORTED_SPAN_MS, changed_utc_ms, polling_began_utc_ms, stored_samples
from api.proving.telling import Told
from api.proving.typed_map import map_of_imports, read_typed_map
from collector.matching import PanelValue
from collector.poll import AlreadyClaimed, claim_site
from collector.quantities import CHANNELS
from collector.registers import load_register_map
from collector.site import Bus, Pump, Site
from collector.store import Store
from collector.toml_file import where

LEAST_STORED_MS: Final = 600_000
"""Of a pump that is being polled or heard, at least the last ten minutes are looked at."""
_KEYS: Final = ("rated_speed_rpm", "rated_power_w", "fluid_temperature_c", "data_sheet", "provenance", "name")
News = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpCheck:
    """What became of a pump: how it was looked at, its proofs, notes, and why it could not be read."""

    pump: str
    how: str
    proofs: tuple[Proof, ...] = ()
    notes: tuple[str, ...] = ()
    trouble: str | None = None

    @property
    def holds(self) -> bool:
        """Return whether nothing is to change, and speed, power, flow and head are proven.

        Counters may stay open: they take longer to prove than a tech stands beside a pump.
        """
        return self.trouble is None and not any(_matters(proof) for proof in self.proofs)


class SiteCheck:
    """Checks the pumps of a site; ``store`` is its readings, ``None`` while there are none.

    ``seconds`` is how long drives are read: 0 for once. ``before`` is called with each bus before anything is
    asked there; what it raises ends the check. ``panel`` is what the drive's panel showed when the check
    began, where one pump alone is checked. Once ``stop`` is set, what was read until then is proven.
    """

    def __init__(
        self,
        site: Site,
        store: Store | None,
        seconds: float,
        stop: threading.Event,
        news: News,
        before: Callable[[Bus], None] = lambda bus: None,
        panel: Sequence[PanelValue] = (),
    ) -> None:
        self._site = site
        self._store = store
        self._seconds = seconds
        self._stop = stop
        self._news = news
        self._before = before
        self._panel = panel
        # Before a claim of our own touches what says so.
        self._polling_began = polling_began_utc_ms(database_file(site))
        self._text = site.path.read_text(encoding="utf-8-sig")

    def run(self, pumps: Sequence[Pump]) -> list[PumpCheck]:
        """Check these pumps, in their order.

        Raises
        ------
        collector.registers.RegisterMapError, collector.store.StoreError
            With one line, before any drive is asked for the first.
        """
        wanted = {pump.name: self._wanted(pump) for pump in pumps if pump.bus is not None}
        asked = [each for each in wanted.values() if not self._bus(each).listen_only]
        looks, reason = self._looks(asked)
        return [self._checked(pump, wanted.get(pump.name), looks.get(pump.name), reason) for pump in pumps]

    def _wanted(self, pump: Pump) -> Wanted:
        path = self._site.register_map_path(pump) or Path()
        return Wanted(
            pump=pump,
            register_map=load_register_map(path),
            typed=read_typed_map(path),
            stated=self._stated(pump),
        )

    def _stated(self, pump: Pump) -> Stated:
        return stated_of(pump, {key: self._place(pump, key) for key in _KEYS})

    def _place(self, pump: Pump, key: str) -> str:
        return where(self._site.path, self._text, ("pump", self._site.pumps.index(pump), key))

    def _bus(self, wanted: Wanted) -> Bus:
        return self._site.bus(wanted.pump.bus or "")

    def _looks(self, asked: Sequence[Wanted]) -> tuple[Mapping[str, Look], str]:
        """Read the drives, or say why they must not be read now."""
        buses = list({bus.name: bus for bus in map(self._bus, asked)}.values())
        if not buses:
            return {}, ""
        ours = self._site.model_copy(update={"buses": tuple(buses)})
        with ExitStack() as claims:
            try:
                claims.enter_context(claim_site(ours, database_file(self._site)))
            except AlreadyClaimed as error:
                return {}, str(error)
            return self._read(buses, asked), ""

    def _read(self, buses: Sequence[Bus], asked: Sequence[Wanted]) -> Mapping[str, Look]:
        looks: dict[str, Look] = {}
        for bus in buses:
            self._before(bus)
        with ThreadPoolExecutor(len(buses), "check") as threads:
            jobs = [
                threads.submit(
                    look_at_bus,
                    bus,
                    [each for each in asked if each.pump.bus == bus.name],
                    self._seconds,
                    self._stop,
                    self._news,
                )
                for bus in buses
            ]
            try:
                for job in jobs:
                    looks |= job.result()
            except BaseException:
                # What ends the wait for one bus ends the reading of all: each drive within its time-out.
                self._stop.set()
                raise
        return looks

    def _checked(self, pump: Pump, wanted: Wanted | None, look: Look | None, reason: str) -> PumpCheck:
        if wanted is None:
            return self._imported(pump)
        if look is None:
            return self._stored(wanted, reason)
        how = f"read {_times(len(look.samples))} on {pump.bus}, unit {pump.unit_id}"
        if not look.samples:
            trouble = look.troubles[-1].sentence if look.troubles else "stopped before it was read"
            return PumpCheck(pump=pump.name, how=how, trouble=trouble)
        if look.troubles:
            how += f"; {_times(len(look.troubles))} without an answer, last: {look.troubles[-1].sentence}"
        return self._proven(wanted, look.samples, how, nearest=0)

    def _stored(self, wanted: Wanted, reason: str) -> PumpCheck:
        pump = wanted.pump
        why = reason or f"{pump.bus} is only listened to, so no drive on it is asked"
        span_ms = max(LEAST_STORED_MS, round(self._seconds * 1000))
        samples = [] if self._store is None else stored_samples(self._store, pump.name, wanted.typed, span_ms)
        if not samples:
            trouble = (
                f"{why}; and nothing is stored of {pump.name} yet: let owncurve poll run, then check again"
            )
            return PumpCheck(pump=pump.name, how="not read", trouble=trouble)
        newer = self._read_by_this_map(wanted, samples)
        if isinstance(newer, Proof):
            return PumpCheck(pump=pump.name, how=f"{_kept(samples)}, since {why}", proofs=(newer,))
        return self._proven(wanted, newer, f"{_kept(newer)}, since {why}")

    def _read_by_this_map(self, wanted: Wanted, samples: list[Sample]) -> list[Sample] | Proof:
        """Return the readings taken by the map and site file as they stand, or what to do where none was."""
        files = [self._site.path, self._site.register_map_path(wanted.pump) or Path()]
        newest = max(files, key=changed_utc_ms)
        since = max(changed_utc_ms(newest), self._polling_began)
        newer = [each for each in samples if each.time_utc_ms >= since]
        if newer and self._polling_began >= changed_utc_ms(newest):
            return newer
        return Proof(
            value="register_map",
            verdict=Verdict.OPEN,
            sentence=(
                f"{newest.name} was changed after these readings or their polling began, so they prove "
                "nothing of it: start polling anew, then check again"
            ),
        )

    def _imported(self, pump: Pump) -> PumpCheck:
        typed = map_of_imports(pump.name)
        samples = (
            []
            if self._store is None
            else stored_samples(self._store, pump.name, typed, IMPORTED_SPAN_MS)
        )  # fmt: skip
        if not samples:
            missing = unfinished(pump, self._place(pump, "name"))
            return PumpCheck(pump=pump.name, how="has no bus", proofs=(missing,))
        met = {name for sample in samples for name in sample.values}
        typed = typed.only(met)
        proofs = prove(typed, samples, self._stated(pump), self._site.units)
        unused = ["the panel was not held against imports: they are of another time"] if self._panel else []
        return self._with_provenance(pump, proofs, _kept(samples), unused)

    def _proven(self, wanted: Wanted, samples: list[Sample], how: str, nearest: int = -1) -> PumpCheck:
        """Prove a pump; ``nearest`` is the place of the sample that the panel is held against."""
        proofs = prove(wanted.typed, samples, wanted.stated, self._site.units)
        if self._panel:
            told = Told(system=self._site.units)
            proofs = panel_proofs(proofs, wanted.typed, samples[nearest], self._panel, told)
        unused = [
            f"the panel's {each.text} was not held against anything: the register map has no "
            f"{each.quantity.words}"
            for each in self._panel
            if each.quantity.name not in wanted.typed.points
        ]
        return self._with_provenance(wanted.pump, proofs, how, unused)

    def _with_provenance(self, pump: Pump, proofs: list[Proof], how: str, notes: list[str]) -> PumpCheck:
        ends = None if self._store is None else self._store.span(pump.name)
        proof, readings = None, 0
        if ends is not None and self._store is not None:
            frame = frame_between(self._store, pump.name, ends[1] - LOOK_BACK_MS, ends[1] + 1)
            place = self._place(pump, "provenance")
            readings, proof = len(frame), provenance_proof(frame, pump_facts(self._site, pump), place)
        if proof is None:
            notes.append(provenance_note(pump, readings))
        return PumpCheck(
            pump=pump.name, how=how, notes=tuple(notes),
            proofs=(*proofs, *([] if proof is None else [proof])),
        )  # fmt: skip


def _matters(proof: Proof) -> bool:
    decides = {*CHANNELS, "register_map"} & set(proof.value.split(", "))
    return proof.verdict is Verdict.CHANGE or (proof.verdict is Verdict.OPEN and bool(decides))


def database_file(site: Site) -> Path:
    """Return the file of a site's readings, there or not."""
    return Path(site.database_url.removeprefix("sqlite:///"))


def _times(count: int) -> str:
    return {0: "not once", 1: "once", 2: "twice"}.get(count, f"{count} times")


def _kept(samples: Sequence[Sample]) -> str:
    last = datetime.fromtimestamp(samples[-1].time_utc_ms / 1000, UTC)
    return f"{len(samples)} stored readings up to {last:%Y-%m-%d %H:%M} UTC"
