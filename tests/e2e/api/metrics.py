"""The samples of the file's OpenMetrics text, one JSON object a line: name, labels, value."""
import json
import sys

from prometheus_client.openmetrics.parser import text_string_to_metric_families

for family in text_string_to_metric_families(open(sys.argv[1], encoding="utf-8").read()):
    for sample in family.samples:
        print(json.dumps({"name": sample.name, "labels": sample.labels, "value": sample.value}))
