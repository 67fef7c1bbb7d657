"""How the scripts beside this file write a golden row: inputs and expected result as JSON in quoted cells."""

import json


def row(name, inputs, expected, tolerance, status="DERIVED", source="own-arithmetic"):
    cells = ['"' + json.dumps(value).replace('"', '""') + '"' for value in (inputs, expected)]
    return ",".join([name, *cells, tolerance, status, source])
