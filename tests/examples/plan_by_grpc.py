"""Plans the cuts for a model file with a running service, and prints the plan as JSON.

    plan_by_grpc.py plinth.off --unit mm --address 127.0.0.1:50151 --out out/plinth

With --out all that is drawn of the plan lands in that folder: pictures, scenes for viewers, words.
With --scheme cuts that somebody has drawn are judged, too, and set beside the plan: what they get wrong
and the table of both are printed on stderr. The file holds a slitwright.v1.Scheme as JSON.

The token comes from the environment (SLITWRIGHT_TOKEN), so that it is not seen in the list of
processes. With --authority the connection is TLS, vouched for by that certificate (PEM).
The modules slitwright.v1.*_pb2 are made from the protocol by grpcio-tools, see run.sh.
"""

import argparse
import os
import random
import sys
import time
import uuid

import grpc
from google.protobuf import json_format

from slitwright.v1 import (model_pb2, plan_file_pb2, plan_request_pb2, scheme_pb2, service_pb2,
                           service_pb2_grpc)

CHUNK = 512 * 1024
FORMATS = {"stl": "STL", "obj": "OBJ", "ply": "PLY", "off": "OFF", "3mf": "THREE_MF",
           "glb": "GLTF", "gltf": "GLTF"}
UNITS = {"mm": "MILLIMETRE", "cm": "CENTIMETRE", "m": "METRE", "in": "INCH", "ft": "FOOT",
         "um": "MICRON"}
# A watch may be made again whenever it breaks; other codes are a no.
BROKEN = {grpc.StatusCode.UNAVAILABLE, grpc.StatusCode.INTERNAL, grpc.StatusCode.UNKNOWN}
TRIES = 8


def connect(address, authority):
    options = [
        ("grpc.max_receive_message_length", 64 << 20),
        ("grpc.keepalive_time_ms", 30_000),
    ]
    if authority is None:
        return grpc.insecure_channel(address, options)
    with open(authority, "rb") as file:
        credentials = grpc.ssl_channel_credentials(file.read())
    return grpc.secure_channel(address, credentials, options)


def parts(path, unit):
    """The messages of an upload: a header, then the file in chunks."""
    ending = os.path.splitext(path)[1].lstrip(".").lower()
    header = service_pb2.UploadHeader(
        format=model_pb2.MeshFormat.Value("MESH_FORMAT_" + FORMATS[ending]),
        unit=model_pb2.LengthUnit.Value("LENGTH_UNIT_" + UNITS[unit]),
        display_name=os.path.basename(path),
        size_bytes=os.path.getsize(path),
    )
    yield service_pb2.UploadModelRequest(header=header)
    with open(path, "rb") as file:
        while chunk := file.read(CHUNK):
            yield service_pb2.UploadModelRequest(chunk=chunk)


def watch(service, name, metadata):
    """Follows a job to its end, over broken connections too."""
    failed = 0
    while True:
        try:
            for event in service.WatchPlan(service_pb2.WatchPlanRequest(name=name), metadata=metadata):
                failed = 0
                if event.HasField("ended"):
                    return event.ended
                if event.HasField("better"):
                    print(f"     {event.better.length_mm:.0f} mm of cut", file=sys.stderr)
                else:
                    print(f"{event.progress.fraction:4.0%} {event.progress.message}", file=sys.stderr)
            raise ConnectionError("the stream closed before the job ended")
        except grpc.RpcError as error:
            failed += 1
            if error.code() not in BROKEN or failed == TRIES:
                raise
            time.sleep(min(0.2 * 2**failed, 20) * random.uniform(0.5, 1))


def fetch(service, name, folder, metadata):
    """Gets one file of a plan into a folder."""
    file, content = None, bytearray()
    for part in service.GetPlanFile(plan_file_pb2.GetPlanFileRequest(name=name), metadata=metadata):
        if part.HasField("file"):
            file = part.file
        else:
            content += part.chunk
    if file is None or file.size_bytes != len(content):
        raise ConnectionError(f"{name} did not come whole")
    with open(os.path.join(folder, os.path.basename(name)), "wb") as out:
        out.write(content)


def fetch_all(service, plan, folder, metadata):
    """Gets all files that a plan has, and says which it has not."""
    os.makedirs(folder, exist_ok=True)
    asked = plan_file_pb2.ListPlanFilesRequest(parent=plan)
    while True:
        page = service.ListPlanFiles(asked, metadata=metadata)
        for file in page.files:
            fetch(service, file.name, folder, metadata)
        if not page.next_page_token:
            break
        asked.page_token = page.next_page_token
    for missing in page.missing:
        print(f"no {os.path.basename(missing.name)}: {missing.description}", file=sys.stderr)


def plan(service, model, request, metadata):
    """Queues a request and waits for its end: the job, with its plan."""
    job = service.SubmitPlan(
        service_pb2.SubmitPlanRequest(model=model, request=request, request_id=uuid.uuid4().hex),
        metadata=metadata,
        timeout=30,
    )
    ended = watch(service, job.name, metadata)
    if not ended.HasField("plan"):
        sys.exit(f"no plan: {ended.failure.message or 'cancelled'}")
    return ended


def judge(service, model, request, scheme, metadata):
    """Has drawn cuts judged: the job, with a plan that holds those cuts and what they get wrong."""
    asked = plan_request_pb2.PlanRequest()
    asked.CopyFrom(request)
    asked.scheme.CopyFrom(scheme)
    judged = plan(service, model, asked, metadata)
    for miss in judged.plan.misses:
        print(f"{'FATAL: ' if miss.fatal else ''}{miss.text}", file=sys.stderr)
    return judged


def main():
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("model")
    options.add_argument("--unit", required=True, choices=UNITS)
    options.add_argument("--address", default="127.0.0.1:50151")
    options.add_argument("--authority", help="certificate (PEM) that vouches for the server: TLS")
    options.add_argument("--seconds", type=float, default=10)
    options.add_argument("--elements", type=int, help="elements of a trial, at most; few are quick")
    options.add_argument("--out", help="folder for pictures, scenes and words of the plan")
    options.add_argument("--scheme", help="drawn cuts (JSON) to judge and to compare with the plan")
    options = options.parse_args()
    scheme = None
    if options.scheme:
        with open(options.scheme, encoding="utf-8") as file:
            try:
                scheme = json_format.Parse(file.read(), scheme_pb2.Scheme())
            except json_format.ParseError as error:
                sys.exit(f"--scheme {options.scheme}: {error}")
    token = os.environ.get("SLITWRIGHT_TOKEN")
    metadata = [("authorization", f"Bearer {token}")] if token else []

    with connect(options.address, options.authority) as channel:
        service = service_pb2_grpc.CutPlannerStub(channel)
        try:
            model = service.UploadModel(parts(options.model, options.unit), metadata=metadata)
            request = plan_request_pb2.PlanRequest()
            request.budget.time_limit_seconds = options.seconds
            if options.elements is not None:
                request.trial.elements = options.elements
            ended = plan(service, model.name, request, metadata)
            if options.out:
                fetch_all(service, ended.name, options.out, metadata)
            if scheme is not None:
                judged = judge(service, model.name, request, scheme, metadata)
                both = service_pb2.ComparePlansRequest(names=[ended.name, judged.name])
                print(service.ComparePlans(both, metadata=metadata).table, file=sys.stderr)
        except grpc.RpcError as error:
            sys.exit(f"{error.code().name}: {error.details()}")
    print(json_format.MessageToJson(ended.plan))


if __name__ == "__main__":
    main()
