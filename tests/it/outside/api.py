"""Holds answers against the document that describes them.

From standard input: the document and answers, each with method, path as the document has it,
status, media type and body. The document is checked by openapi-spec-validator, each body by
jsonschema against the schema of its status; and strictly: a member that the document does not
name is told, so that nothing is answered that nobody can read up.
"""
import json
import sys

from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

asked = json.load(sys.stdin)
document = asked["document"]
told = [f"the document: {error.message}" for error in OpenAPIV31SpecValidator(document).iter_errors()]

# Objects with members of a job's own: its tables.
OPEN = {"Sheet"}


def strict(schema):
    """The same schema, with nothing in an object but what it names."""
    if isinstance(schema, dict):
        schema = {name: strict(value) for name, value in schema.items()}
        if "properties" in schema and "additionalProperties" not in schema:
            schema["additionalProperties"] = False
        return schema
    return [strict(one) for one in schema] if isinstance(schema, list) else schema


schemas = document["components"]["schemas"]
document["components"]["schemas"] = {
    name: schema if name in OPEN else strict(schema) for name, schema in schemas.items()
}


def resolved(item):
    """What a reference in the document stands for."""
    while "$ref" in item:
        place = document
        for part in item["$ref"].removeprefix("#/").split("/"):
            place = place[part]
        item = place
    return item


for answer in asked["answers"]:
    name = f"{answer['method']} {answer['path']} {answer['status']}"
    operation = document["paths"][answer["path"]][answer["method"].lower()]
    response = operation["responses"].get(str(answer["status"]))
    if response is None:
        told.append(f"{name}: the document does not name this status")
        continue
    content = resolved(response)["content"].get(answer["media"])
    if content is None:
        told.append(f"{name}: the document does not name {answer['media']}")
        continue
    if not answer["media"].endswith("json"):
        continue
    schema = {**content["schema"], "components": document["components"]}
    for error in Draft202012Validator(schema).iter_errors(json.loads(answer["body"])):
        place = "/".join(str(part) for part in error.absolute_path)
        told.append(f"{name}: at {place}: {error.message[:300]}")
print("\n".join(told) if told else f"{len(asked['answers'])} answers fit")
