"""Bodies of calls, held against the service's own description of them (OpenAPI 3.1, so JSON Schema draft 2020-12)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from jsonschema_rs import Draft202012Validator


def _header(headers: Mapping[str, str], name: str) -> str:
    return next((value for given, value in headers.items() if given.lower() == name.lower()), "")


class Description:
    """The document that `/api/v1/openapi.json` gives."""

    def __init__(self, document: dict[str, Any]) -> None:
        self.document = document

    @property
    def operations(self) -> dict[str, set[str]]:
        """The methods that are described, by address."""
        return {path: {method.upper() for method in given} for path, given in self.document["paths"].items()}

    def check_request(self, method: str, path: str, headers: Mapping[str, str], body: Any) -> None:
        """Fails where no such request is described."""
        content = self._operation(method, path)["requestBody"]["content"]
        self._check(content, headers, body, f"{method} {path}")

    def check_reply(self, method: str, path: str, status: int, headers: Mapping[str, str], body: Any) -> None:
        """Fails where no such reply is described."""
        responses = self._operation(method, path)["responses"]
        assert str(status) in responses, f"{method} {path}: no word of a {status}"
        response = self._resolved(responses[str(status)])
        self._check(response["content"], headers, body, f"{method} {path}: {status}")
        for name, header in response.get("headers", {}).items():
            assert not header.get("required") or _header(headers, name), f"no {name}"

    def _operation(self, method: str, path: str) -> dict[str, Any]:
        return self.document["paths"][path][method.lower()]

    def _resolved(self, part: dict[str, Any]) -> dict[str, Any]:
        while "$ref" in part:
            found: Any = self.document
            for name in part["$ref"].removeprefix("#/").split("/"):
                found = found[name]
            part = found
        return part

    def _check(self, content: dict[str, Any], headers: Mapping[str, str], body: Any, of_what: str) -> None:
        kind = _header(headers, "Content-Type").partition(";")[0].strip()
        assert kind in content, f"{of_what}: {kind or 'no content type'}, described are {', '.join(content)}"
        # A reference in it is looked for from the document's root.
        schema = content[kind]["schema"] | {"components": self.document["components"]}
        faults = [
            f"{'/'.join(map(str, fault.instance_path))}: {fault.message[:300]}"
            for fault in Draft202012Validator(schema, validate_formats=True).iter_errors(body)
        ]
        assert not faults, f"{of_what}: " + "; ".join(faults)
