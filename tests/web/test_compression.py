"""Texts are gzipped for who takes that, and are the same texts."""

from __future__ import annotations

import gzip
import re
import time

import pytest

from quizsvc.web.assets import FOLDER, lean

ADDRESSES = (
    "/", "/about", "/cautions", "/handbook", "/handbook/tolquenny-19/21-10", "/on-this-device", "/sign-in", "/sw.js",
    "/manifest.webmanifest", "/api/v1/openapi.json", "/nowhere", "/api/v1/nowhere",
    *(f"/static/{file.name}" for file in sorted(FOLDER.iterdir())),
)  # fmt: skip
TOKEN = re.compile(rb'value="[^"]{60,}"|nonce="[^"]+"')


def plain(body):
    """Without the form's token, which is another at each visit."""
    return TOKEN.sub(b"", body)


@pytest.mark.parametrize("address", ADDRESSES)
def test_the_gzipped_body_is_the_plain_one(visitor, address):
    """RFC 9110 section 8.4: the content coding changes nothing but the coding; Vary names what it went by."""
    bare = visitor.client.get(address, buffered=True)
    packed = visitor.client.get(address, headers={"Accept-Encoding": "gzip, br"}, buffered=True)

    assert packed.status_code == bare.status_code
    assert int(packed.headers["Content-Length"]) == len(packed.data)
    if packed.headers.get("Content-Encoding") == "gzip":
        assert len(packed.data) < len(bare.data)
        assert plain(gzip.decompress(packed.data)) == plain(bare.data)
    else:
        assert len(bare.data) < 600 or bare.mimetype == "image/png"
        assert plain(packed.data) == plain(bare.data)
    if bare.mimetype != "image/png":
        assert "Accept-Encoding" in packed.headers["Vary"] and "Accept-Encoding" in bare.headers["Vary"]


@pytest.mark.parametrize("accepted", [None, "", "identity", "br", "gzip;q=0", "*;q=0", "deflate"])
def test_who_does_not_take_gzip_gets_it_plain(visitor, accepted):
    """RFC 9110 section 12.5.3: a weight of 0 means not acceptable."""
    headers = {} if accepted is None else {"Accept-Encoding": accepted}

    assert "Content-Encoding" not in visitor.client.get("/about", headers=headers).headers


def test_a_kept_file_is_not_sent_again(visitor):
    """If-None-Match with what came the first time: 304 without a body, gzipped or not."""
    for headers in ({}, {"Accept-Encoding": "gzip"}):
        first = visitor.client.get("/static/main.js", headers=headers, buffered=True)
        again = visitor.client.get("/static/main.js", headers=headers | {"If-None-Match": first.headers["ETag"]})

        assert again.status_code == 304 and again.data == b""


def test_head_says_the_length_and_sends_nothing(visitor):
    """RFC 9110 section 9.3.2."""
    bare = visitor.client.head("/about", headers={"Accept-Encoding": "gzip"})

    assert bare.data == b"" and int(bare.headers["Content-Length"]) > 600


def test_scripts_go_out_without_comments_and_indents():
    """Whole comment lines only; every other line keeps its number and its words, and addresses in texts stay."""
    for file in sorted(FOLDER.glob("*.js")):
        source = file.read_text("utf-8")
        lines = list(zip(source.splitlines(), lean(source).splitlines(), strict=True))
        for own, sent in lines:
            assert sent == ("" if own.strip().startswith("//") else own.lstrip()), file.name
        # What `lean` must not meet: a template text over several lines.
        assert all(line.count("`") % 2 == 0 for line, _ in lines if not line.strip().startswith("//")), file.name


def test_the_part_of_a_token_that_stays_is_worth_nothing(visitor):
    """What a page's length could tell in many replies is no token: the signature is another in each second."""
    tokens = []
    while len(tokens) < 2:
        form = visitor.get("/sign-in?next=/log").form("/sign-in")
        token = dict(form.fields)["csrf_token"]
        if not tokens or token.split(".")[1] != tokens[0].split(".")[1]:
            tokens.append(token)
        else:
            time.sleep(0.1)
    (payload, _, signature), (same, second, other) = (token.split(".") for token in tokens)
    assert payload == same
    assert signature != other
    # No eight characters of it come back in the next second.
    assert not {signature[at : at + 8] for at in range(len(signature) - 7)} & {
        other[at : at + 8] for at in range(len(other) - 7)
    }

    fields = {"name": "Nadir Eshvale", "password": "ochre lantern nine"}
    for made_up in (payload, f"{payload}.{second}", f"{payload}.{second}.{signature}", f"{payload}.{second}."):
        reply = visitor.client.post("/sign-in", data=fields | {"csrf_token": made_up})
        assert reply.status_code == 400, made_up
        assert "does not belong to this browser" in reply.get_data(as_text=True)
    # The true one is taken, and the name is not.
    assert visitor.client.post("/sign-in", data=fields | {"csrf_token": tokens[0]}).status_code == 422
