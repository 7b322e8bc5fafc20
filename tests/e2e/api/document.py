"""Whether the file's document is valid OpenAPI, and of which version; prints the version."""
import json
import sys

from openapi_spec_validator import OpenAPIV31SpecValidator

document = json.load(open(sys.argv[1], encoding="utf-8"))
OpenAPIV31SpecValidator(document).validate()
print(document["openapi"])
