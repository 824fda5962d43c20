"""One pair of wires that everybody shares: drives, masters that are not ours, and the port at our end.

The line keeps its own time. :meth:`SharedLine.advance` works out, to the bit, what happens up to a moment;
who calls it with the real time has a live line (``live_line``), who calls it with any other has a recording
of minutes in milliseconds (``recording``). Everybody hears everything; whoever talks is deaf meanwhile; those
who talk at one time spoil each other. A drive takes for a request what lies between two silences of 3.5
characters, without an error in it, and answers after its turn-around whether or not the line is free.
"""

from __future__ import annotations

import random
from bisect import insort
from collections.abc import Iterable, Sequence
from math import inf
from typing import Final

from simulator.drives import Drive
from simulator.lines.bad_wire import BadWire, PortWiring
from simulator.lines.disturbance import Answer, Disturbance, Trouble
from simulator.lines.drive_at_work import DriveAtWork, may_be_request
from simulator.lines.foreign_master import ForeignMaster, MasterAtWork, framed, is_sound
from simulator.lines.ledger import Exchange, Ledger
from simulator.lines.talk import Receiver, Talk, is_forgotten
from simulator.lines.uart import Character, LineSetting

PORT: Final = "port"
_NOISE: Final = "noise"
_FIXED_SILENCE_S: Final = 0.00175
"""Above 19200 baud the silence is fixed (Modbus over Serial Line V1.02, as quoted in trade pages)."""


class SharedLine:
    """The line; several drives may bear one number. All times are seconds of the line's own clock.

    ``disturbance`` is what befalls the drives' answers (its echo and split have no meaning here), ``wire``
    whatever is said. ``keeps`` bounds how many exchanges are remembered, for a line that runs for days.
    """

    def __init__(
        self,
        setting: LineSetting,
        drives: Iterable[Drive] = (),
        masters: Iterable[ForeignMaster] = (),
        *,
        disturbance: Disturbance | None = None,
        wire: BadWire | None = None,
        port: PortWiring | None = None,
        seed: int = 0,
        begins_s: float = 0.0,
        keeps: int | None = None,
    ) -> None:
        self.setting = setting
        self.silence_s = 3.5 * 11 / setting.baud if setting.baud <= 19200 else _FIXED_SILENCE_S
        self.trouble = Trouble(disturbance or Disturbance(), seed)
        self.wire = wire or BadWire()
        self.port = port or PortWiring()
        self.port_setting = setting
        self.port_bytes_sent = 0
        self.now_s = begins_s
        self._ledger = Ledger(keeps)
        self._random = random.Random(seed)
        self.drives = list(drives)
        self._drives = [DriveAtWork(drive, f"drive {place}") for place, drive in enumerate(self.drives)]
        self.masters = [MasterAtWork(master, begins_s, seed + place) for place, master in enumerate(masters)]
        self._talks: list[Talk] = []
        self._unjudged: list[Talk] = []
        self._quiet_since_s = begins_s - self.silence_s
        self._ears = Receiver(setting)
        self._port_ears = Receiver(setting, self.port.is_swapped, self.port.starts_at_low_stop)
        self._heard: list[Character] = []
        self._noise_s = begins_s + self._noise_gap_s()

    @property
    def exchanges(self) -> Sequence[Exchange]:
        """Return the true exchanges so far; the newest may still be without its answer."""
        return tuple(self._ledger.exchanges)

    @property
    def next_s(self) -> float:
        """Return when something happens by itself next [s]; infinity if nothing does."""
        times = [drive.next_s(self.now_s) for drive in self._drives]
        times += [master.next_s for master in self.masters]
        return min([*times, self._noise_s, self._frame_ends_s])

    @property
    def next_at_port_s(self) -> float:
        """Return when what is being said now will be over [s]; infinity on a silent line."""
        return self._quiet_since_s if self._quiet_since_s > self.now_s else inf

    def advance(self, until_s: float) -> None:
        """Let happen what happens up to a moment."""
        while (next_s := self.next_s) <= until_s:
            self.now_s = max(self.now_s, next_s)
            self._judge_frame()
            self._let_drives_speak()
            self._let_masters_speak()
            self._let_noise_be()
        self.now_s = max(self.now_s, until_s)
        self._listen_at_port()

    def say(self, data: bytes) -> None:
        """Let the port send bytes from now on, or behind what it is still sending."""
        self.port_bytes_sent += len(data)
        going = [talk for talk in self._talks if talk.talker == PORT and talk.ends_s > self.now_s]
        begins_s = max([self.now_s, *(talk.ends_s for talk in going)])
        self._talk(PORT, data, begins_s, setting=self.port_setting)

    def set_port(self, setting: LineSetting) -> None:
        """Set the port's speed, parity and stop bits from now on."""
        self.port_setting = setting
        self._port_ears.set_up(setting, self.now_s)

    def heard(self) -> list[Character]:
        """Return what came at the port since the last call, and forget it."""
        came, self._heard = self._heard, []
        return came

    @property
    def _frame_ends_s(self) -> float:
        return self._quiet_since_s + self.silence_s if self._unjudged else inf

    def _judge_frame(self) -> None:
        """When the line has been silent for long enough, let everybody take in what was said."""
        if self.now_s < self._frame_ends_s:
            return
        talks, self._unjudged = self._unjudged, []
        talkers = {talk.talker for talk in talks}
        for talk in talks:
            talk.is_run_together = len(talkers) > 1
            if talk.talker != _NOISE:
                self._ledger.note(talk)
        characters = self._ears.take(self._talks, self.now_s)
        if not any(character.parity_error or character.framing_error for character in characters):
            self._hand_round(bytes(character.byte for character in characters), talks[-1], talkers)
        self._listen_at_port()
        self._forget()

    def _forget(self) -> None:
        for talk in self._talks:
            if is_forgotten(talk, self.now_s):
                talk.forget_wave()
        self._talks = [talk for talk in self._talks if not is_forgotten(talk, self.now_s)]

    def _hand_round(self, frame: bytes, last: Talk, talkers: set[str]) -> None:
        if not is_sound(frame):
            return
        for drive in self._drives:
            if drive.name not in talkers:
                self._ask(drive, frame, last)
        for master in self.masters:
            if master.name not in talkers:
                master.hear(frame, self.now_s)

    def _ask(self, drive: DriveAtWork, frame: bytes, request: Talk) -> None:
        if frame[0] != drive.drive.unit_id or not may_be_request(frame):
            return
        reply = drive.drive.answer_bytes(frame[1:-2])
        if reply is None:
            return
        said = Answer(unit_id=frame[0], pdu=bytes([reply.function_code]) + reply.encode())
        answer = self.trouble.of_content(said)
        if answer is not None:
            drive.put(answer, request, self.now_s)

    def _let_drives_speak(self) -> None:
        for drive in self._drives:
            while (due := drive.take(self.now_s)) is not None:
                answer, request = due
                frame = self.trouble.of_bytes(framed(answer.unit_id, answer.pdu))
                self._talk(drive.name, frame, self.now_s, answers=request)

    def _let_masters_speak(self) -> None:
        for master in self.masters:
            if not master.wants_to_speak(self.now_s):
                continue
            free_s = self._seems_free_s()
            if self.now_s < free_s:
                master.put_off(free_s)
                continue
            talk = self._talk(master.name, master.request, self.now_s)
            master.spoke(talk.ends_s)

    def _seems_free_s(self) -> float:
        """Return from when on the line is free for all that a master knows: it notices whole characters."""
        noticed = [talk for talk in self._talks if talk.begins_s + self.setting.character_s <= self.now_s]
        return max((talk.ends_s + self.silence_s for talk in noticed), default=self.now_s)

    def _let_noise_be(self) -> None:
        if self.now_s < self._noise_s:
            return
        self._talk(_NOISE, self._random.randbytes(self._random.randint(1, 3)), self.now_s)
        self._noise_s = self.now_s + self._noise_gap_s()

    def _noise_gap_s(self) -> float:
        return self._random.expovariate(self.wire.noise_per_s) if self.wire.noise_per_s else inf

    def _talk(
        self,
        talker: str,
        data: bytes,
        begins_s: float,
        setting: LineSetting | None = None,
        answers: Talk | None = None,
    ) -> Talk:
        setting = setting or self.setting
        talk = Talk(
            talker=talker,
            begins_s=begins_s,
            data=data,
            setting=setting,
            flipped=self._flipped(len(data), setting),
            is_inverted=talker == PORT and self.port.is_swapped,
            answers=answers,
        )
        for other in self._talks:
            if talk.overlaps(other):
                talk.is_collided = other.is_collided = True
        insort(self._talks, talk, key=lambda talk: talk.begins_s)
        self._unjudged.append(talk)
        self._quiet_since_s = max(self._quiet_since_s, talk.ends_s)
        return talk

    def _flipped(self, length: int, setting: LineSetting) -> frozenset[int]:
        chance = self._random.random
        hurt = {place for place in range(length) if chance() < self.wire.damaged_bytes}
        if chance() < self.wire.damaged_frames:
            hurt.add(self._random.randrange(length))
        bits = setting.character_bits
        return frozenset(place * bits + self._random.randrange(bits) for place in hurt)

    def _listen_at_port(self) -> None:
        came = self._port_ears.take(self._talks, self.now_s)
        own = [] if self.port.echo else [talk for talk in self._talks if talk.talker == PORT]
        self._heard += [
            character
            for character in came
            if not any(talk.begins_s < character.ends_s <= talk.ends_s + 1e-9 for talk in own)
        ]
