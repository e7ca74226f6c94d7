"""Serve registers.txt by pymodbus: server.py FILE tcp | server.py FILE rtu DEVICE BAUD.

Prints "ready PORT" (tcp) or "ready" (rtu) once a client may ask.
"""
import asyncio
import sys

from pymodbus.datastore import (
    ModbusServerContext,
    ModbusSlaveContext,
    ModbusSparseDataBlock,
)
from pymodbus.server.async_io import ModbusSerialServer, ModbusTcpServer
from pymodbus.transaction import ModbusRtuFramer, ModbusSocketFramer


def load(name):
    units = {}
    with open(name, encoding="utf-8") as lines:
        for line in lines:
            fields = line.split("#")[0].split()
            if not fields:
                continue
            unit, table, address = (int(f) for f in fields[:3])
            tables = units.setdefault(unit, {3: {}, 4: {}})
            for i, word in enumerate(fields[3:]):
                tables[table][address + i] = int(word, 16)
    slaves = {
        # zero_mode: address 0 on the wire is address 0 in the block
        unit: ModbusSlaveContext(
            hr=ModbusSparseDataBlock(t[3] or {65535: 0}),
            ir=ModbusSparseDataBlock(t[4] or {65535: 0}),
            zero_mode=True,
        )
        for unit, t in units.items()
    }
    return ModbusServerContext(slaves=slaves, single=False)


async def tcp(context):
    server = ModbusTcpServer(
        context, framer=ModbusSocketFramer, address=("127.0.0.1", 0), allow_reuse_address=True
    )
    serving = asyncio.create_task(server.serve_forever())
    await server.serving
    print("ready", server.server.sockets[0].getsockname()[1], flush=True)
    await serving


async def rtu(context, device, baud):
    # parity N: a pseudo terminal refuses any other
    server = ModbusSerialServer(
        context, framer=ModbusRtuFramer, port=device, baudrate=baud, parity="N", stopbits=1, bytesize=8
    )
    await server.start()
    print("ready", flush=True)
    await server.serve_forever()


if __name__ == "__main__":
    registers = load(sys.argv[1])
    if sys.argv[2] == "tcp":
        asyncio.run(tcp(registers))
    else:
        asyncio.run(rtu(registers, sys.argv[3], int(sys.argv[4])))
