"""Validates JSON documents (arguments after the first) against a JSON Schema (first argument) with `jsonschema`."""
import json
import sys

import jsonschema

with open(sys.argv[1], encoding="utf-8") as file:
    schema = json.load(file)
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
wrong = 0
for path in sys.argv[2:]:
    with open(path, encoding="utf-8") as file:
        document = json.load(file)
    errors = list(validator.iter_errors(document))
    wrong += bool(errors)
    print(path, "valid" if not errors else [error.message[:200] for error in errors[:5]])
sys.exit(wrong)
