"""Fuzzes the interface for programs from its own description.

Takes the plant of `borewise demo` into a throw-away record, makes a token, serves the record at a free port of this machine, and lets
schemathesis send what the description allows and what it does not. It fails on any answer that is a 5xx, that the description does not
name, or that does not look as described, and on anything that the description forbids and the server takes.

    cargo build -p borewise && python3 tests/api/fuzz.py

schemathesis is fetched with pip into an environment of its own, once. Takes about two minutes.
"""

import copy
import json
import os
import pathlib
import socket
import subprocess
import sys
import tempfile
import time
import urllib.parse
import urllib.request

ROOT = pathlib.Path(__file__).resolve().parents[2]
TARGET = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
PROGRAM = TARGET / "debug" / "borewise"
ENVIRONMENT = TARGET / "schemathesis-4.32"
PACKAGE = "schemathesis==4.32.5"
SEED = "20261124"
# Valid data may still not fit the record (an unknown circuit, an ended visit), so that positive_data_acceptance says nothing
# here; ignored_auth counts the 429 of too many wrong tokens as a failure, and crates/web/tests/api.rs checks tokens.
CHECKS = (
    "not_a_server_error,status_code_conformance,content_type_conformance,response_headers_conformance,"
    "response_schema_conformance,negative_data_rejection,missing_required_header,unsupported_method,allow_header_conformance"
)
SECONDS = int(os.environ.get("BOREWISE_FUZZ_SECONDS", "100"))
PERSON = "KT"


def stop(text):
    sys.exit(f"fuzz of the interface for programs: {text}")


def schemathesis():
    """The program, fetched where it is not there yet."""
    found = ENVIRONMENT / "bin" / "schemathesis"
    if found.exists():
        return found
    if subprocess.run([sys.executable, "-m", "venv", str(ENVIRONMENT)], check=False).returncode:
        stop("python3 cannot make a virtual environment; the package python3-venv may be missing")
    pip = [str(ENVIRONMENT / "bin" / "python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", PACKAGE]
    if subprocess.run(pip, check=False).returncode or not found.exists():
        stop(f"pip could not install {PACKAGE}; the fuzz test needs it, and a way to a Python package index")
    return found


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def borewise(*arguments):
    done = subprocess.run([str(PROGRAM), *arguments], check=False, capture_output=True, text=True)
    if done.returncode:
        stop(f"borewise {arguments[0]} ended with {done.returncode}: {done.stderr}{done.stdout}")
    return done.stdout.strip()


def answers(address):
    for _ in range(100):
        try:
            with urllib.request.urlopen(f"{address}/api/v1/openapi.json", timeout=2):
                return True
        except OSError:
            time.sleep(0.1)
    return False


def asked(address, token, what):
    request = urllib.request.Request(f"{address}/api/v1/{what}", headers={"Authorization": f"Bearer {token}"})
    with urllib.request.urlopen(request, timeout=30) as answer:
        return json.load(answer)


def known_names(address, token):
    """Names of one mould, its newest visit and what belongs to them, so that not everything that is sent is unknown here."""
    mould = asked(address, token, "moulds")["moulds"][0]["id"]
    inside = f"moulds/{urllib.parse.quote(mould, safe='')}"
    visit = asked(address, token, f"{inside}/visits")["visits"][0]["visit"]
    entries = asked(address, token, f"{inside}/visits/{urllib.parse.quote(visit, safe='')}/readings")["readings"]
    return {
        "mould": [mould],
        "visit": [visit],
        "circuit": [row["id"] for row in asked(address, token, f"{inside}/circuits")["circuits"]],
        "rig": [row["name"] for row in asked(address, token, "rigs")["rigs"]],
        "entry": [row["entry"] for row in entries],
    }


def entries(address, token):
    return int(asked(address, token, "history?most=1")["head"].split(":")[0])


def narrowed(description, known):
    """The description with the names of this record in place of any text, apart from what would end the visit for all others."""

    def bodies(schema):
        if isinstance(schema, dict):
            for name, inner in schema.get("properties", {}).items():
                if name in ("circuit", "rig") and isinstance(inner, dict) and inner.get("pattern"):
                    schema["properties"][name] = {"enum": known[name] + [None] * ("null" in inner.get("type", []))}
            for inner in schema.values():
                bodies(inner)
        elif isinstance(schema, list):
            for inner in schema:
                bodies(inner)

    for path, operations in description["paths"].items():
        if path.endswith("/end"):
            continue
        for operation in operations.values():
            for parameter in operation["parameters"]:
                if parameter["in"] == "path" and known.get(parameter["name"]):
                    parameter["schema"] = {"enum": known[parameter["name"]]}
            bodies(operation.get("requestBody", {}))
    schemas = description["components"]["schemas"]
    # A mould of any other name could be met by an address that the narrowed description forbids.
    mould = copy.deepcopy(schemas["MouldFile"])
    mould["properties"]["mould"]["properties"]["id"] = {"enum": ["FUZZ-1", "FUZZ-2"]}
    description["paths"]["/api/v1/moulds"]["post"]["requestBody"]["content"]["application/json"]["schema"] = mould
    for name, schema in schemas.items():
        if name.startswith("variants-"):
            bodies(schema)
    return description


def main():
    if not PROGRAM.exists():
        stop(f"{PROGRAM} is not there; run cargo build -p borewise")
    fuzzer = schemathesis()
    with tempfile.TemporaryDirectory(prefix="borewise-fuzz-") as folder:
        plant, record = pathlib.Path(folder) / "plant", pathlib.Path(folder) / "record"
        borewise("demo", "--no-open", "--data", str(plant))
        moulds = [str(inner) for inner in sorted(plant.iterdir()) if inner.is_dir()]
        borewise("record", *moulds, "--by", PERSON, "--data", str(record))
        token = borewise("token", "add", "fuzz", "--role", "lead", "--person", PERSON, "--data", str(record))
        port = free_port()
        address = f"http://127.0.0.1:{port}"
        server = subprocess.Popen(
            [str(PROGRAM), "serve", "--data", str(record), "--listen", f"127.0.0.1:{port}"],
            stdout=subprocess.DEVNULL,
        )
        try:
            if not answers(address):
                stop("the bench book did not answer")
            description = asked(address, token, "openapi.json")
            file = pathlib.Path(folder) / "openapi.json"
            file.write_text(json.dumps(narrowed(description, known_names(address, token))), encoding="utf-8")
            before = entries(address, token)
            run = [
                str(fuzzer), "run", str(file), "--url", address,
                "--header", f"Authorization: Bearer {token}",
                "--checks", CHECKS, "--seed", SEED, "--max-time", str(SECONDS),
                "--phases", "coverage,fuzzing", "--continue-on-failure", "--suppress-health-check", "all",
                "--request-timeout", "30", "--warnings", "off",
            ]
            failed = subprocess.run(run, check=False, cwd=folder).returncode
            if server.poll() is not None:
                stop("the bench book ended while it was asked")
            recorded = entries(address, token) - before
            print(f"{recorded} entries were recorded meanwhile")
            if not recorded:
                stop("nothing that was sent was recorded, so that it proves little")
        finally:
            server.terminate()
            server.wait(timeout=30)
        audit = borewise("audit", "--data", str(record))
        print(audit)
        sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
