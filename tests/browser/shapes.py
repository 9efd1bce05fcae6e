"""Addresses of pages, without the names in them."""

NAMED = ("moulds", "visits", "circuits", "halves", "rigs", "instruments", "people", "calculators", "certificates", "photos")


def kind(path):
    """Pages of one kind differ in names only."""
    parts, shape = path.strip("/").split("/"), []
    for at, part in enumerate(parts):
        named = at > 0 and parts[at - 1] in NAMED
        shape.append("*" if named else part)
    return "/" + "/".join(shape)
