"""What programs and both faces read, as plain data; `schemas_json` says its shape."""
