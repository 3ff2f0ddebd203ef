"""trunkwatch.access: signature; the phone's script makes the same bytes and the same signature."""

import hashlib
import hmac
import json
import shutil
import subprocess

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trunkwatch.access.signature import canonical, literal_json, signature, signed_bytes
from trunkwatch.sheets.field_page import script_of

NODE = shutil.which("node") or shutil.which("nodejs")
LONG = b"This is a test using a larger than block-size key and a larger than block-size data. The key needs to be hashed before being used by the HMAC algorithm."
#: RFC 4231, sections 4.2 to 4.8: key, data, HMAC-SHA-256.
RFC_4231 = [
    ("0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
    (b"Jefe".hex(), b"what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
    ("aa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
    ("0102030405060708090a0b0c0d0e0f10111213141516171819", b"\xcd" * 50,
     "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"),
    ("0c" * 20, b"Test With Truncation", "a3b6167473100ee06e0c796c2955552b"),
    ("aa" * 131, b"Test Using Larger Than Block-Size Key - Hash Key First",
     "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"),
    ("aa" * 131, LONG,
     "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2"),
]  # fmt: skip


def in_script(what, *given):
    """Run a piece of the phone's script and return what it gives."""
    if NODE is None:
        pytest.skip("no JavaScript on this machine")
    program = f"{script_of('sign.js')}\nconst given = JSON.parse(require('fs').readFileSync(0, 'utf8'));\nprocess.stdout.write(JSON.stringify(({what})(...given)));"
    done = subprocess.run([NODE, "-e", program], input=json.dumps(given), capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


@pytest.mark.parametrize(("key", "text", "wanted"), RFC_4231)
def test_published_signatures(key, text, wanted):
    assert hmac.new(bytes.fromhex(key), text, hashlib.sha256).hexdigest()[: len(wanted)] == wanted
    script = "(key, text) => sealing.hex(sealing.hmac(sealing.fromHex(key), sealing.fromHex(text)))"
    assert in_script(script, key, text.hex())[: len(wanted)] == wanted


def test_hashes_of_every_length_around_a_block_are_those_of_the_library():
    texts = [bytes(n % 251 for n in range(size)) for size in [*range(130), 1000, 65_536]]
    told = in_script(
        "(all) => all.map((one) => sealing.hex(sealing.sha256(sealing.fromHex(one))))", [one.hex() for one in texts]
    )
    assert told == [hashlib.sha256(one).hexdigest() for one in texts]


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=()), max_size=6),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(alphabet="abcXY_z", max_size=4), inner, max_size=4), max_leaves=12,
)  # fmt: skip


@settings(max_examples=8)
@given(st.lists(st.dictionaries(st.sampled_from(["block", "symptoms", "x"]), JSON), min_size=20, max_size=40))
def test_phone_and_desk_sign_the_same_bytes_however_the_file_is_laid_out(days):
    """What the script signs is written out with spaces and read again."""
    secret = "5a" * 32
    script = "(days, secret) => days.map((day) => JSON.stringify(sealing.signed(day, { phone: 'p', secret }), null, 1))"
    for text in in_script(script, days, secret):
        told = literal_json(text)
        assert signature(secret, signed_bytes(told)) == told["signature"]


def test_what_differs_is_signed_differently():
    different = [
        '{"a":"1"}',
        '{"a":1}',
        '{"a":1.0}',
        '{"a":[1]}',
        '{"a":null}',
        '{"a":true}',
        '{"a":"true"}',
        '{"a":"","b":""}',
        '{"a":{"b":""}}',
        '{"ab":""}',
    ]
    assert len({canonical(literal_json(one)) for one in different}) == len(different)
    assert canonical(literal_json('{"b": 1, "a": 2}')) == canonical(literal_json('{"a":2,"b":1}'))
