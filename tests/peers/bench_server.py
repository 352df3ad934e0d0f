"""A stand-in for a shop's equipment that Hearthward did not write: two furnaces, their doors and contactors, a gas flow
controller and an oil tank, answering Modbus TCP through pymodbus, with plain physics of its own.

The registers are listed in README.md beside this file. Time is real, so the furnaces are quick instead: a cycle that takes a
shift in a workshop takes a minute here.

On standard input it takes one JSON object a line: what a person or bad luck does (a door, a cut cable, a device that answers
rubbish). Each is answered by one line on standard output. The first line there says on which ports it listens. Whatever is
written to it, and whatever is done to it, goes to the log file in the order in which it happened: JSON lines with a monotonic
time in nanoseconds and the count of requests that had come by then.
"""

import argparse
import asyncio
import json
import sys
import time

from pymodbus.pdu import ExceptionResponse
from pymodbus.server import ModbusTcpServer
from pymodbus.server.requesthandler import ServerRequestHandler
from pymodbus.simulator import DataType, SimData, SimDevice

FURNACES = ("north", "south")
STEP_S = 0.01

# Unit identifiers.
NORTH, SOUTH, IO, GAS, TANK = 1, 2, 3, 4, 5

# Quick furnaces: full power gives 120 K/s against a closed chamber that loses a twelfth of its excess a second.
HEATING_K_PER_S = 120.0
LOSS_S = 12.0
OPEN_DOOR_LOSS_S = 6.0
AMBIENT_C = 21.0
PROPORTIONAL_BAND_K = 12.0
ALARM_C = 1150.0
FLOW_LAG_S = 0.15
BROKEN_SENSOR = 0x8000


def now_ns():
    return time.monotonic_ns()


class Log:
    """The record of what came in and what was done, one JSON object a line, each line out before anything else happens."""

    def __init__(self, path):
        self.file = open(path, "w", encoding="utf-8", buffering=1)
        self.frames = 0

    def write(self, **what):
        line = {"t_ns": now_ns(), "frames": self.frames, **what}
        self.file.write(json.dumps(line) + "\n")


class Furnace:
    """A chamber with an element, a controller with a set point and a run switch, a contactor in the feed, and a door."""

    def __init__(self, name):
        self.name = name
        self.temperature_c = AMBIENT_C
        self.set_point_c = 0.0
        self.run = False
        self.contactor = False
        self.door_open = False
        self.sensor_broken = False
        # Its controller takes every write and does nothing: a key on its panel is turned to local.
        self.deaf = False
        self.output = 0.0
        self.purged_l = 0.0

    def hot(self):
        """Whether the element gets power at this moment."""
        return self.output > 0.0 and self.contactor

    def step(self, seconds, flow_l_min):
        excess_k = self.temperature_c - AMBIENT_C
        loss_k_per_s = excess_k / LOSS_S + (excess_k / OPEN_DOOR_LOSS_S if self.door_open else 0.0)
        error_k = self.set_point_c - self.temperature_c
        # The controller knows nothing of the contactor, and holds against the losses of the closed chamber.
        wanted = error_k / PROPORTIONAL_BAND_K + excess_k / LOSS_S / HEATING_K_PER_S
        self.output = min(max(wanted, 0.0), 1.0) if self.run else 0.0
        gain_k_per_s = HEATING_K_PER_S * self.output if self.contactor else 0.0
        self.temperature_c += (gain_k_per_s - loss_k_per_s) * seconds
        # Gas that went into a shut chamber since it was last opened or left without gas: what a purge consists of.
        if self.door_open or flow_l_min < 0.5:
            self.purged_l = 0.0
        else:
            self.purged_l += flow_l_min / 60.0 * seconds


class Shop:
    """All equipment together."""

    def __init__(self, log, heartbeat_s):
        self.log = log
        self.heartbeat_s = heartbeat_s
        self.furnaces = [Furnace(name) for name in FURNACES]
        self.flow_l_min = 0.0
        self.flow_set_l_min = 0.0
        self.gas_there = True
        self.oil_c = 55.0
        self.agitator = True
        self.beats = [now_ns() for _ in FURNACES]

    def step(self, seconds):
        wanted = self.flow_set_l_min if self.gas_there else 0.0
        self.flow_l_min += (wanted - self.flow_l_min) * min(seconds / FLOW_LAG_S, 1.0)
        for at, furnace in enumerate(self.furnaces):
            # The gas goes to the first furnace; the second stands in air.
            furnace.step(seconds, self.flow_l_min if at == 0 else 0.0)
            silent_s = (now_ns() - self.beats[at]) / 1e9
            if self.heartbeat_s and furnace.contactor and silent_s > self.heartbeat_s:
                furnace.contactor = False
                self.log.write(kind="contactor_dropped", furnace=furnace.name)

    async def run(self):
        last = time.monotonic()
        while True:
            await asyncio.sleep(STEP_S)
            now = time.monotonic()
            # A computer that was busy elsewhere must not make the physics leap.
            left_s = now - last
            last = now
            while left_s > 0:
                self.step(min(left_s, STEP_S))
                left_s -= STEP_S

    def furnace(self, name):
        return self.furnaces[FURNACES.index(name)]


def tenths(value):
    return int(round(value * 10)) & 0xFFFF


def hundredths(value):
    return int(round(value * 100)) & 0xFFFF


def controller(shop, unit, furnace):
    """A furnace controller."""

    def coils():
        return [furnace.run]

    def discretes():
        return [furnace.run and furnace.output > 0.0, furnace.temperature_c > ALARM_C]

    def inputs():
        shown = BROKEN_SENSOR if furnace.sensor_broken else tenths(furnace.temperature_c)
        return [shown, tenths(furnace.output * 100), tenths(furnace.set_point_c)]

    def holdings():
        return [tenths(furnace.set_point_c)]

    def write_coil(address, value):
        if not furnace.deaf:
            furnace.run = value

    def write_holding(address, value):
        if not furnace.deaf:
            furnace.set_point_c = value / 10

    return device(shop, unit, coils, discretes, holdings, inputs, write_coil, write_holding)


def io_module(shop):
    """Doors (coils 8 and 9), contactors (coils 0 and 1) and what the contactors' own switches say (discrete inputs 0 and 1)."""

    def coils():
        contactors = [furnace.contactor for furnace in shop.furnaces]
        return contactors + [False] * 6 + [furnace.door_open for furnace in shop.furnaces]

    def discretes():
        return [furnace.contactor for furnace in shop.furnaces]

    def write_coil(address, value):
        if address < len(FURNACES):
            shop.furnaces[address].contactor = value
            shop.beats[address] = now_ns()

    return device(shop, IO, coils, discretes, lambda: [0], lambda: [0], write_coil, lambda *_: None)


def gas_controller(shop):
    """A gas flow controller: hundredths of a litre a minute."""

    def write_holding(address, value):
        shop.flow_set_l_min = value / 100

    def inputs():
        return [hundredths(shop.flow_l_min)]

    def holdings():
        return [hundredths(shop.flow_set_l_min)]

    return device(shop, GAS, lambda: [False], lambda: [False], holdings, inputs, lambda *_: None, write_holding)


def oil_tank(shop):
    """A quench tank: tenths of a degree, tenths of a percent."""

    def write_coil(address, value):
        shop.agitator = value

    def inputs():
        return [tenths(shop.oil_c), tenths(95.0)]

    return device(shop, TANK, lambda: [shop.agitator], lambda: [shop.agitator], lambda: [0], inputs, write_coil, lambda *_: None)


# The table that each function of the protocol reads, also when it reads back what it wrote.
TABLES = {1: "coil", 2: "discrete", 3: "holding", 4: "input", 5: "coil", 6: "holding", 15: "coil", 16: "holding"}


def device(shop, unit, coils, discretes, holdings, inputs, write_coil, write_holding):
    """A pymodbus device whose registers are worked out at each read and whose writes are logged before they act."""
    sources = {"coil": coils, "discrete": discretes, "holding": holdings, "input": inputs}

    def fill(kind, registers):
        values = sources[kind]()
        if kind in ("coil", "discrete"):
            registers[0] = sum(1 << at for at, value in enumerate(values) if value)
        else:
            registers[: len(values)] = values

    async def action(function, _start, address, _count, registers, values):
        if values is None:
            fill(TABLES[function], registers)
            return None
        kind = TABLES[function]
        north = shop.furnaces[0]
        for offset, value in enumerate(values):
            raw = int(value)
            shop.log.write(kind="write", unit=unit, table=kind, address=address + offset, value=raw,
                           purged_l=round(north.purged_l, 3), north_c=round(north.temperature_c, 1))
            (write_coil if kind == "coil" else write_holding)(address + offset, bool(raw) if kind == "coil" else raw)
        # The reply to a write repeats the request, whatever came of it.
        return None

    bits = [SimData(address=0, values=[False] * 16, datatype=DataType.BITS)]
    words = [SimData(address=0, count=16, values=0, datatype=DataType.REGISTERS)]
    return SimDevice(id=unit, simdata=(bits, list(bits), words, list(words)), action=action)


class Manners:
    """How units answer: well, unless told otherwise."""

    def __init__(self):
        self.of_unit = {}

    def of(self, unit):
        return self.of_unit.get(unit, {"how": "well"})


class Handler(ServerRequestHandler):
    """A connection, on which a device may be made to behave badly. Each request is answered for itself, so that a late answer
    carries the transaction number of its own request."""

    async def handle_request(self):
        request, where = self.last_pdu, self.last_addr
        self.last_pdu = None
        if request is None:
            return
        self.server.log.frames += 1
        unit = request.dev_id
        manner = self.server.manners.of(unit)
        how = manner["how"]
        if how == "silent":
            return
        if how == "garbage":
            self.send(bytes.fromhex(manner.get("hex", "deadbeef00ff5a5a0102030405060708")), addr=where)
            return
        if how == "late":
            await asyncio.sleep(manner["ms"] / 1000)
        answer = await self.answer(request)
        answer.transaction_id = request.transaction_id
        answer.dev_id = unit + 100 if how == "other-unit" else unit
        if self.transport:
            self.pdu_send(answer, addr=where)

    async def answer(self, request):
        context = self.server.context
        if request.dev_id not in context.device_ids():
            return ExceptionResponse(request.function_code, 11)
        return await request.datastore_update(context, request.dev_id)


class Server(ModbusTcpServer):
    """A port with the devices behind it."""

    def __init__(self, devices, log, manners, port):
        super().__init__(devices, address=("127.0.0.1", port))
        self.log = log
        self.manners = manners
        self.handlers = []

    def callback_new_connection(self):
        handler = Handler(self, None, None, None)
        self.handlers.append(handler)
        return handler

    def hang_up(self):
        for handler in self.handlers:
            handler.close()
        self.handlers.clear()

    def port(self):
        return self.transport.sockets[0].getsockname()[1]


def do(command, shop, servers, manners, log):
    """Carries out one line of standard input and returns what is said about it."""
    what = command["do"]
    if what == "door":
        furnace = shop.furnace(command["furnace"])
        furnace.door_open = command["open"]
        log.write(kind="door", furnace=furnace.name, open=furnace.door_open, north_c=round(shop.furnaces[0].temperature_c, 1))
    elif what == "answer":
        manners.of_unit[command["unit"]] = {key: value for key, value in command.items() if key not in ("do", "unit")}
        log.write(kind="manner", **{key: value for key, value in command.items() if key != "do"})
    elif what == "thermocouple":
        shop.furnace(command["furnace"]).sensor_broken = command["broken"]
        log.write(kind="thermocouple", furnace=command["furnace"], broken=command["broken"])
    elif what == "deaf":
        shop.furnace(command["furnace"]).deaf = command["on"]
        log.write(kind="deaf", furnace=command["furnace"], on=command["on"])
    elif what == "panel":
        furnace = shop.furnace(command["furnace"])
        furnace.run, furnace.set_point_c = True, command["set_point_c"]
        log.write(kind="panel", furnace=command["furnace"], set_point_c=command["set_point_c"])
    elif what == "gas":
        shop.gas_there = command["on"]
        log.write(kind="gas", on=command["on"])
    elif what == "temperature":
        shop.furnace(command["furnace"]).temperature_c = command["c"]
        log.write(kind="temperature", furnace=command["furnace"], c=command["c"])
    elif what == "oil":
        shop.oil_c = command["c"]
        log.write(kind="oil", c=command["c"])
    elif what == "hang-up":
        for server in servers:
            server.hang_up()
        log.write(kind="hang-up")
    elif what == "mark":
        log.write(kind="mark", text=command["text"])
    elif what != "look":
        raise ValueError(f"no such thing to do: {what}")
    furnaces = {
        furnace.name: {"c": round(furnace.temperature_c, 1), "set_point_c": furnace.set_point_c, "run": furnace.run,
                       "contactor": furnace.contactor, "door_open": furnace.door_open, "hot": furnace.hot(),
                       "purged_l": round(furnace.purged_l, 3)}
        for furnace in shop.furnaces
    }
    return {"done": what, "t_ns": now_ns(), "frames": log.frames, "flow_l_min": round(shop.flow_l_min, 2), "furnaces": furnaces}


async def commands(shop, servers, manners, log):
    """Reads standard input to its end: when whoever started this goes, it goes too."""
    reader = asyncio.StreamReader()
    loop = asyncio.get_running_loop()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    while line := await reader.readline():
        try:
            said = do(json.loads(line), shop, servers, manners, log)
        except (KeyError, ValueError) as problem:
            said = {"problem": repr(problem), "line": line.decode(errors="replace")}
        print(json.dumps(said), flush=True)


async def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--log", required=True, help="file for the record of writes and happenings")
    arguments.add_argument("--heartbeat-s", type=float, default=0.0, help="contactors drop after this long without a write; 0 is never")
    arguments.add_argument("--controllers-port", type=int, default=0)
    arguments.add_argument("--io-port", type=int, default=0)
    given = arguments.parse_args()
    log, manners = Log(given.log), Manners()
    shop = Shop(log, given.heartbeat_s)
    controllers = [controller(shop, NORTH, shop.furnaces[0]), controller(shop, SOUTH, shop.furnaces[1])]
    rest = [io_module(shop), gas_controller(shop), oil_tank(shop)]
    servers = [Server(controllers, log, manners, given.controllers_port), Server(rest, log, manners, given.io_port)]
    for server in servers:
        await server.serve_forever(background=True)
    physics = asyncio.create_task(shop.run())
    print(json.dumps({"ready": {"controllers": servers[0].port(), "io": servers[1].port()}}), flush=True)
    await commands(shop, servers, manners, log)
    physics.cancel()
    for server in servers:
        server.hang_up()
        await server.shutdown()


if __name__ == "__main__":
    asyncio.run(main())
