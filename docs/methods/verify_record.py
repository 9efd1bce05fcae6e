#!/usr/bin/env python3
"""Verifies a Borewise record without Borewise: python3 verify_record.py RECORD [NUMBER:HASH ...]

Uses only Python's own sqlite3, hashlib and zlib. Follows docs/methods/record.md, section 'The rule'.
Prints the end of the history and exits 0 if it is whole; names the first break and exits 1 if not.
"""
import hashlib
import json
import sqlite3
import sys
import zlib

RULE = b"borewise record entry 1"


def seal(entry, previous):
    """The digest of an entry: every field preceded by its length, 8 bytes, most significant first."""
    texts = (
        str(entry["number"]), str(entry["at_us"]), entry["person"], entry["kind"], entry["subject"],
        entry["write_key"], str(entry["part"]), str(entry["parts"]),
        "" if entry["corrects"] is None else str(entry["corrects"]), entry["reason"] or "", entry["body"],
    )
    digest = hashlib.sha256()
    for field in (RULE, previous, *(text.encode() for text in texts)):
        digest.update(len(field).to_bytes(8, "big"))
        digest.update(field)
    return digest.digest()


def digests_in(value):
    """Every digest that a body names: traces, documents, pictures."""
    if isinstance(value, dict):
        for name, inner in value.items():
            if name in ("trace", "document", "picture") and isinstance(inner, str):
                yield bytes.fromhex(inner)
            else:
                yield from digests_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from digests_in(inner)


def verify(path, kept):
    record = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    record.row_factory = sqlite3.Row
    said = record.execute("PRAGMA integrity_check").fetchone()[0]
    if said != "ok":
        return f"the file is damaged: {said}"
    blobs = set()
    for row in record.execute("SELECT digest, packing, bytes FROM blob"):
        content = zlib.decompress(row["bytes"]) if row["packing"] == "zlib" else row["bytes"]
        if hashlib.sha256(content).digest() != row["digest"]:
            return f"the bytes {row['digest'].hex()} are not what was recorded"
        blobs.add(row["digest"])
    number, previous, open_write, heads = 0, bytes(32), None, {}
    for entry in record.execute("SELECT * FROM entry ORDER BY number"):
        number += 1
        if entry["number"] != number:
            return f"entry {number} is missing"
        if entry["previous"] != previous:
            return f"entry {number} does not follow the entry before it"
        if seal(entry, previous) != entry["hash"]:
            return f"entry {number} is not what was recorded"
        expected = (entry["write_key"], 1) if open_write is None else open_write
        if expected != (entry["write_key"], entry["part"]):
            return f"entry {number} leaves a write half there"
        done = entry["part"] == entry["parts"]
        open_write = None if done else (entry["write_key"], entry["part"] + 1)
        for digest in digests_in(json.loads(entry["body"])):
            if digest not in blobs:
                return f"entry {number} names the bytes {digest.hex()}, and they are missing"
        previous = entry["hash"]
        heads[f"{number}:{previous.hex()}"] = True
    if open_write is not None:
        return f"entry {number} leaves a write half there"
    for head in kept:
        if head not in heads:
            return f"the history does not hold {head}, which was written down"
    print(f"{number}:{previous.hex()}")
    return None


if __name__ == "__main__":
    problem = verify(sys.argv[1], sys.argv[2:])
    if problem:
        sys.exit(problem)
