"""A client of Hearthward that knows nothing but the published .proto files: it compiles them when it starts, and speaks gRPC
through grpcio.

It is driven by JSON lines on standard input and prints JSON lines of what it saw. `{"do": "..."}` lines are:

  call      {"name", "service", "method", "request", "deadline_s"?}  any unary call; prints {"answer": {...}} or {"error": {...}}
  events    {"name", "after_seq"?, "journal_id"?, "filter"?}         opens an event stream that prints {"event": {...}}
  cut       {"name"}                                                 drops that stream in the middle of whatever it does
  resume    {"name"}                                                 opens it again after the last number it saw
  seen      {"name"}                                                 prints the numbers that the stream brought, and what is wrong with them
  readings  {"name", "interval_ms"?, "points"?, "read_every_s"?}     opens a stream of readings, read as slowly as asked
  stall     {"name", "service", "method", "request"?}                opens any stream, of which nothing is ever read
  questions {"every_s"?}                                             looks for questions and prints each new one as {"question": {...}}
  health    {}                                                       asks the standard health service

A command of the shop gets a request_id unless the request brings one: a new UUID, printed with the answer, so that a repeat can
be sent with the same one.
"""

import argparse
import importlib
import json
import queue
import sys
import tempfile
import threading
import time
import uuid
from pathlib import Path

import grpc
from grpc_tools import protoc

PRINTING = threading.Lock()


def say(**what):
    """One line for whoever drives this."""
    with PRINTING:
        print(json.dumps({"t_ns": time.monotonic_ns(), **what}), flush=True)


def compile_contract(folder):
    """Makes Python out of the published contract, and returns the modules by name."""
    contract = Path(folder)
    files = sorted(contract.rglob("*.proto"))
    if not files:
        raise SystemExit(f"no .proto files under {contract}")
    made = tempfile.mkdtemp(prefix="hearthward-contract-")
    well_known = Path(importlib.import_module("grpc_tools").__file__).parent / "_proto"
    arguments = ["protoc", f"-I{contract}", f"-I{well_known}", f"--python_out={made}", f"--grpc_python_out={made}"]
    if protoc.main(arguments + [str(file) for file in files]) != 0:
        raise SystemExit("the contract does not compile")
    sys.path.insert(0, made)
    names = [str(file.relative_to(contract).with_suffix("")).replace("/", ".") for file in files]
    return {name.rsplit(".", 1)[1]: (importlib.import_module(f"{name}_pb2"), importlib.import_module(f"{name}_pb2_grpc")) for name in names}


def plain(message):
    """A message as plain values: whole numbers stay numbers, enumerations are their names, what is not set is left out."""
    out = {}
    for field, value in message.ListFields():
        # A map is not used in this contract; everything else is one value or a list of them.
        values = list(value) if field.is_repeated else [value]
        if field.message_type is not None:
            values = [plain(item) for item in values]
        elif field.enum_type is not None:
            values = [field.enum_type.values_by_number[item].name if item in field.enum_type.values_by_number else item for item in values]
        out[field.name] = values if field.is_repeated else values[0]
    return out


def fill(message, values):
    """The other way: sets the fields of a message from plain values."""
    for name, value in values.items():
        field = message.DESCRIPTOR.fields_by_name[name]
        if field.is_repeated:
            for item in value:
                if field.message_type is not None:
                    fill(getattr(message, name).add(), item)
                else:
                    getattr(message, name).append(number_of(field, item))
        elif field.message_type is not None:
            getattr(message, name).SetInParent()
            fill(getattr(message, name), value)
        else:
            setattr(message, name, number_of(field, value))
    return message


def number_of(field, value):
    return field.enum_type.values_by_name[value].number if field.enum_type is not None and isinstance(value, str) else value


class EventStream:
    """An event stream that can be cut and resumed, and that keeps account of what it brought."""

    def __init__(self, shop, name):
        self.shop, self.name = shop, name
        self.numbers, self.problems, self.through, self.journal_id, self.call = [], [], None, "", None

    def open(self, after_seq, journal_id, wanted):
        request = {"filter": wanted} if wanted else {}
        if after_seq is not None:
            request["after_seq"] = after_seq
        if journal_id:
            request["journal_id"] = journal_id
        self.wanted = wanted
        self.call = self.shop.stream("EventService", "StreamEvents", request)
        threading.Thread(target=self.listen, args=(self.call,), daemon=True).start()

    def listen(self, call):
        try:
            for message in call:
                # What still comes out of a stream that was cut is not looked at: it was lost with the connection.
                if call is not self.call:
                    return
                self.take(plain(message))
        except grpc.RpcError as error:
            if call is self.call:
                say(stream_ended=self.name, **told(error))

    def take(self, message):
        if "progress" in message:
            progress = message["progress"]
            self.journal_id = progress["journal_id"]
            through = progress.get("through_seq", 0)
            if self.through is not None and through < self.through:
                self.problems.append(f"progress went back from {self.through} to {through}")
            self.through = max(self.through or 0, through)
            say(progress=progress, stream=self.name)
            return
        event = message["event"]
        number = event["seq"]
        if self.through is not None and number <= self.through:
            self.problems.append(f"{number} came after {self.through}")
        if not self.wanted and self.through is not None and number != self.through + 1:
            self.problems.append(f"{number} came right after {self.through}")
        self.numbers.append(number)
        self.through = number
        say(event=event, stream=self.name)

    def cut(self):
        call, self.call = self.call, None
        call.cancel()
        say(cut=self.name, through=self.through, journal_id=self.journal_id)

    def resume(self):
        self.open(self.through, self.journal_id, self.wanted)


class Shop:
    """The service at the other end."""

    def __init__(self, at, modules):
        self.at = at
        self.channel = grpc.insecure_channel(at)
        self.modules = modules
        self.streams = {}
        self.known = set()

    def service(self, name):
        for messages, stubs in self.modules.values():
            if name in messages.DESCRIPTOR.services_by_name:
                return messages.DESCRIPTOR.services_by_name[name], stubs
        raise ValueError(f"the contract has no service {name}")

    def prepared(self, service, method, request, channel=None):
        described, stubs = self.service(service)
        kind = described.methods_by_name[method].input_type
        message = importlib.import_module("google.protobuf.message_factory").GetMessageClass(kind)()
        stub = getattr(stubs, f"{service}Stub")(channel or self.channel)
        return kind, getattr(stub, method), fill(message, request)

    def stream(self, service, method, request, channel=None):
        _, ask, message = self.prepared(service, method, request, channel)
        return ask(message)

    def call(self, name, service, method, request, deadline_s=20.0):
        kind, ask, _ = self.prepared(service, method, {})
        if "request_id" in kind.fields_by_name:
            request = {"request_id": str(uuid.uuid4()), "person": "Ansa", **request}
        _, ask, message = self.prepared(service, method, request)
        began = time.monotonic()
        try:
            said = plain(ask(message, timeout=deadline_s))
            say(answer=said, call=name, request_id=request.get("request_id"), took_ms=(time.monotonic() - began) * 1000)
        except grpc.RpcError as error:
            say(call=name, request_id=request.get("request_id"), **told(error))

    def look_for_questions(self, every_s):
        while True:
            try:
                _, ask, message = self.prepared("CycleService", "ListQuestions", {})
                for question in ask(message, timeout=10).questions:
                    if question.id not in self.known:
                        self.known.add(question.id)
                        say(question=plain(question))
            except grpc.RpcError:
                # The service may be away for a while: that is for the event stream to tell.
                pass
            time.sleep(every_s)

    def readings(self, name, interval_ms, points, read_every_s):
        for message in self.stream("ShopService", "StreamReadings", {"interval_ms": interval_ms, "points": points}):
            say(readings=plain(message), stream=name)
            time.sleep(read_every_s)

    def health(self):
        ask = self.channel.unary_unary("/grpc.health.v1.Health/Check", request_serializer=bytes, response_deserializer=bytes)
        try:
            # The answer's first field, a status, 1 for serving.
            say(health={"serving": ask(b"", timeout=10) == b"\x08\x01"})
        except grpc.RpcError as error:
            say(call="health", **told(error))


def told(error):
    """What a failed call says: its code, its words, and the machine-readable detail if there is one."""
    details = [value for key, value in (error.trailing_metadata() or ()) if key == "grpc-status-details-bin"]
    # The detail is an ErrorInfo within a Status; its reason is upper-case words, which are found without the two .proto files.
    reasons = [word.decode() for detail in details for word in capitals(detail)]
    return {"error": {"code": error.code().name, "words": error.details(), "reasons": reasons}}


def capitals(raw):
    found, word = [], b""
    for byte in raw + b"\0":
        if byte == ord("_") or ord("A") <= byte <= ord("Z"):
            word += bytes([byte])
            continue
        if len(word) >= 4:
            found.append(word)
        word = b""
    return found


def do(shop, command):
    what, name = command["do"], command.get("name", "")
    if what == "call":
        arguments = (name, command["service"], command["method"], command.get("request", {}), command.get("deadline_s", 20.0))
        threading.Thread(target=shop.call, args=arguments, daemon=True).start()
    elif what == "events":
        stream = shop.streams[name] = EventStream(shop, name)
        stream.open(command.get("after_seq"), command.get("journal_id", ""), command.get("filter"))
    elif what == "cut":
        shop.streams[name].cut()
    elif what == "resume":
        shop.streams[name].resume()
    elif what == "seen":
        stream = shop.streams[name]
        say(seen=name, numbers=stream.numbers, problems=stream.problems, through=stream.through)
    elif what == "readings":
        arguments = (name, command.get("interval_ms", 0), command.get("points", []), command.get("read_every_s", 0.0))
        threading.Thread(target=shop.readings, args=arguments, daemon=True).start()
    elif what == "stall":
        # A connection of its own with the smallest window there is, and a reader that never reads.
        channel = grpc.insecure_channel(shop.at, options=[("grpc.http2.lookahead_bytes", 1), ("grpc.use_local_subchannel_pool", 1),
                                                          ("grpc.http2.bdp_probe", 0)])
        shop.streams[name] = (channel, shop.stream(command["service"], command["method"], command.get("request", {}), channel))
        say(stalled=name)
    elif what == "questions":
        threading.Thread(target=shop.look_for_questions, args=(command.get("every_s", 0.2),), daemon=True).start()
    elif what == "health":
        shop.health()
    else:
        raise ValueError(f"no such thing to do: {what}")


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--at", required=True, help="address of the service, 127.0.0.1:PORT")
    arguments.add_argument("--proto", required=True, help="folder of the published contract")
    given = arguments.parse_args()
    shop = Shop(given.at, compile_contract(given.proto))
    say(ready=True)
    lines = queue.Queue()
    threading.Thread(target=lambda: [lines.put(line) for line in sys.stdin] + [lines.put(None)], daemon=True).start()
    while (line := lines.get()) is not None:
        try:
            do(shop, json.loads(line))
        except (KeyError, ValueError, TypeError) as problem:
            say(problem=repr(problem), line=line)


if __name__ == "__main__":
    main()
