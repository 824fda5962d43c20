"""One drive on a bus: it answers reads from its registers, and nothing when it is off the bus."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Final

from pymodbus.pdu import DecodePDU, ExceptionResponse, ModbusPDU
from pymodbus.pdu.mei_message import ReadDeviceInformationRequest, ReadDeviceInformationResponse
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersRequest,
    ReadHoldingRegistersResponse,
    ReadInputRegistersRequest,
    ReadInputRegistersResponse,
)

from simulator.drives.registers import DriveMap, Image, Table, image_of

_ILLEGAL_FUNCTION, _ILLEGAL_ADDRESS, _ILLEGAL_VALUE = 1, 2, 3
_MOST_REGISTERS = 125
_FROM_MASTER: Final = DecodePDU(is_server=True)


class Drive:
    """A drive by its unit number and register table; ``on_bus`` is set as time goes on."""

    def __init__(self, unit_id: int, drive_map: DriveMap, turn_around_s: float = 0.004) -> None:
        self.unit_id = unit_id
        self.map = drive_map
        self.turn_around_s = turn_around_s
        self.image: Image = {}
        self.on_bus = True
        self.asked: Counter[int] = Counter()
        """How often each function code came: a tap on the bus for tests."""

    def show(self, values: Mapping[str, float]) -> None:
        """Put values (by canonical name, in its unit; NaN for no reading) into the registers, all at once."""
        self.image = image_of(self.map, values)

    def answer_bytes(self, pdu: bytes, transaction_id: int = 0) -> ModbusPDU | None:
        """Return the answer to a request as it came (function code and data), or ``None`` for silence."""
        request = _FROM_MASTER.decode(pdu)
        if request is None:
            return self._unreadable(pdu[0], transaction_id)
        request.dev_id, request.transaction_id = self.unit_id, transaction_id
        return self.answer(request)

    def _unreadable(self, function_code: int, transaction_id: int) -> ModbusPDU | None:
        """Refuse what the library would not decode: a count out of range, or a function it does not know."""
        self.asked[function_code] += 1
        if not self.on_bus:
            return None
        known = function_code in (
            ReadHoldingRegistersRequest.function_code,
            ReadInputRegistersRequest.function_code,
        )
        code = _ILLEGAL_VALUE if known else _ILLEGAL_FUNCTION
        return ExceptionResponse(function_code, code, device_id=self.unit_id, transaction=transaction_id)

    def answer(self, request: ModbusPDU) -> ModbusPDU | None:
        """Return the answer, an exception answer, or ``None`` for silence."""
        self.asked[request.function_code] += 1
        if not self.on_bus:
            return None
        if isinstance(request, ReadDeviceInformationRequest):
            return self._identification(request)
        # Input requests are a subclass of holding requests in the library: ask for the narrower first.
        if isinstance(request, ReadInputRegistersRequest):
            return self._registers(request, "input", ReadInputRegistersResponse)
        if isinstance(request, ReadHoldingRegistersRequest):
            return self._registers(request, "holding", ReadHoldingRegistersResponse)
        return self._exception(request, _ILLEGAL_FUNCTION)

    def _registers(
        self, request: ModbusPDU, table: Table, response: type[ReadHoldingRegistersResponse]
    ) -> ModbusPDU:
        if not 1 <= request.count <= _MOST_REGISTERS:
            return self._exception(request, _ILLEGAL_VALUE)
        image = self.image
        wanted = [(table, request.address + place) for place in range(request.count)]
        if any(place not in image for place in wanted):
            return self._exception(request, _ILLEGAL_ADDRESS)
        return response(
            registers=[image[place] for place in wanted],
            dev_id=self.unit_id,
            transaction_id=request.transaction_id,
        )

    def _identification(self, request: ReadDeviceInformationRequest) -> ModbusPDU:
        words = {number: text.encode() for number, text in enumerate(self.map.identification)}
        return ReadDeviceInformationResponse(
            read_code=request.read_code,
            information=words,
            dev_id=self.unit_id,
            transaction_id=request.transaction_id,
        )

    def _exception(self, request: ModbusPDU, code: int) -> ModbusPDU:
        return ExceptionResponse(
            request.function_code, code, device_id=self.unit_id, transaction=request.transaction_id
        )
