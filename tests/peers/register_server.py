"""A Modbus TCP server that Hearthward did not write, for a benchmark: pymodbus with some units that hold input registers and do
nothing else. The first line on standard output says on which port; it ends with its standard input."""

import argparse
import asyncio
import json
import sys

from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice


def device(unit, registers, value):
    bits = [SimData(address=0, values=[False] * 16, datatype=DataType.BITS)]
    words = [SimData(address=0, count=registers, values=value, datatype=DataType.REGISTERS)]
    return SimDevice(id=unit, simdata=(bits, list(bits), words, list(words)))


async def main():
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--units", type=int, required=True)
    arguments.add_argument("--registers", type=int, required=True)
    arguments.add_argument("--value", type=int, required=True, help="what each register holds")
    given = arguments.parse_args()
    devices = [device(unit, given.registers, given.value) for unit in range(1, given.units + 1)]
    server = ModbusTcpServer(devices, address=("127.0.0.1", 0))
    await server.serve_forever(background=True)
    print(json.dumps({"ready": server.transport.sockets[0].getsockname()[1]}), flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    await server.shutdown()


if __name__ == "__main__":
    asyncio.run(main())
