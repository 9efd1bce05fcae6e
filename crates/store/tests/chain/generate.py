"""Writes chain.json: entries whose digests were computed by Python's hashlib (Python 3.11), by the rule in
docs/methods/record.md. Run in this folder: python3 generate.py"""
import importlib.util
import json
import pathlib

here = pathlib.Path(__file__).parent
spec = importlib.util.spec_from_file_location("verify_record", here / "../../../../docs/methods/verify_record.py")
verify_record = importlib.util.module_from_spec(spec)
spec.loader.exec_module(verify_record)

entries = [
    dict(at_us=0, person="kt", kind="person", subject="person/kt", write_key="first", part=1, parts=1,
         corrects=None, reason=None, body='{"shape":"person/1"}'),
    dict(at_us=1790000000123456, person="kt", kind="note", subject="circuit/M%2F2/F 2", write_key="zweite", part=1,
         parts=2, corrects=None, reason=None, body='{"text":"Düse tropft, 6 bar → 5,8 bar"}'),
    dict(at_us=-1, person="Jürgen", kind="note", subject="circuit/M%2F2/F 2", write_key="zweite", part=2, parts=2,
         corrects=None, reason="said on the telephone", body=""),
    dict(at_us=1790000000123457, person="lead", kind="note", subject="circuit/M%2F2/F 2", write_key="k", part=1,
         parts=1, corrects=2, reason="it was the other circuit", body='{"text":""}'),
    # The same letters on other sides of a border between fields.
    dict(at_us=1, person="ab", kind="c", subject="d", write_key="e", part=1, parts=1, corrects=None, reason=None,
         body="f"),
    dict(at_us=1, person="a", kind="bc", subject="d", write_key="e", part=1, parts=1, corrects=None, reason=None,
         body="f"),
]
previous = bytes(32)
for number, entry in enumerate(entries, 1):
    entry["number"], entry["previous"] = number, previous.hex()
    previous = verify_record.seal(entry, previous)
    entry["hash"] = previous.hex()
(here / "chain.json").write_text(json.dumps(entries, indent=1, ensure_ascii=False) + "\n")
