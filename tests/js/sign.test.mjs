// The signature of a hand-over, against values that were published.
import assert from "node:assert/strict";
import { createHash, createHmac } from "node:crypto";
import { test } from "node:test";
import { plain } from "./stand_in.mjs";
import { walked } from "./faces.mjs";

const sealing = walked().get("sealing");
const hex = (bytes) => sealing.hex(bytes);
const many = (byte, count) => new Uint8Array(count).fill(byte);

test("SHA-256 of the messages of FIPS 180-4", () => {
  const of = (text) => hex(sealing.sha256(sealing.utf8(text)));
  assert.equal(of("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  assert.equal(of(""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  assert.equal(of("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"), "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
});

test("SHA-256 at every length around a block", () => {
  for (let length = 50; length <= 130; length += 1) {
    const bytes = Uint8Array.from({ length }, (_, k) => (7 * k + length) & 255);
    assert.equal(hex(sealing.sha256(bytes)), createHash("sha256").update(bytes).digest("hex"), `${length} bytes`);
  }
});

test("HMAC-SHA-256 of the cases 1, 2, 3, 4, 6 and 7 of RFC 4231", () => {
  const cases = [
    [many(0x0b, 20), sealing.utf8("Hi There"), "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"],
    [sealing.utf8("Jefe"), sealing.utf8("what do ya want for nothing?"), "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"],
    [many(0xaa, 20), many(0xdd, 50), "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"],
    [Uint8Array.from({ length: 25 }, (_, k) => k + 1), many(0xcd, 50), "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"],
    [many(0xaa, 131), sealing.utf8("Test Using Larger Than Block-Size Key - Hash Key First"), "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"],
    [many(0xaa, 131), sealing.utf8("This is a test using a larger than block-size key and a larger than block-size data. The key needs to be hashed before being used by the HMAC algorithm."), "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2"],
  ];
  for (const [key, message, mac] of cases) assert.equal(hex(sealing.hmac(key, message)), mac);
});

test("HMAC with keys of 63, 64 and 65 bytes is that of the machine's own library", () => {
  for (const length of [63, 64, 65]) {
    const key = many(length, length), message = sealing.utf8("row 7");
    assert.equal(hex(sealing.hmac(key, message)), createHmac("sha256", key).update(message).digest("hex"));
  }
});

test("hex there and back", () => {
  assert.equal(hex(sealing.fromHex("00ff0a10")), "00ff0a10");
  assert.equal(sealing.fromHex("").length, 0);
});

test("what is signed does not hang on the order of keys, and hangs on every value", () => {
  const one = sealing.canonical({ b: [1, "x", null], a: true });
  assert.equal(one, "{s1:ats1:b[n1:1s1:xz]}");
  assert.equal(one, sealing.canonical({ a: true, b: [1, "x", null] }));
  for (const other of [{ a: false, b: [1, "x", null] }, { a: true, b: [1, "x"] }, { a: true, b: ["1", "x", null] }, { a: true, b: ["x", 1, null] }]) assert.notEqual(sealing.canonical(other), one);
  assert.equal(sealing.canonical("\u00e9"), "s2:\u00e9");
});

test("a paired phone signs with its secret, one without signs nothing", () => {
  const out = { season: 2026, symptoms: [{ row: "1" }] };
  assert.equal(sealing.signed(out, undefined), out);
  const told = plain(sealing.signed(out, { phone: "p1", secret: "0b0b0b" }));
  assert.equal(told.phone, "p1");
  const { signature, ...rest } = told;
  assert.equal(signature, createHmac("sha256", Buffer.from("0b0b0b", "hex")).update(sealing.canonical(rest)).digest("hex"));
});
