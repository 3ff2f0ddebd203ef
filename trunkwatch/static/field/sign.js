// The signature of a hand-over: HMAC-SHA256 in plain script, since browsers keep their own for https and this machine.

const sealing = {
  utf8: (text) => new TextEncoder().encode(text),
  hex: (bytes) => [...bytes].map((b) => b.toString(16).padStart(2, "0")).join(""),
  fromHex: (text) => Uint8Array.from(text.match(/../g) || [], (two) => parseInt(two, 16)),
  // Fractions of the square and cube roots of the first primes, 32 bits of each (FIPS 180-4).
  roots: (() => {
    const primes = [];
    for (let n = 2; primes.length < 64; n += 1) if (primes.every((prime) => n % prime)) primes.push(n);
    const bits = (n, power) => {
      const whole = BigInt(n) << (power === 2n ? 64n : 96n);
      let low = 0n, high = 1n << 40n;
      while (high - low > 1n) { const mid = (low + high) >> 1n; if (mid ** power <= whole) low = mid; else high = mid; }
      return Number(low & 0xffffffffn);
    };
    return { start: primes.slice(0, 8).map((n) => bits(n, 2n)), round: primes.map((n) => bits(n, 3n)) };
  })(),
  sha256(bytes) {
    const turn = (word, by) => (word >>> by) | (word << (32 - by));
    const length = bytes.length;
    const whole = new Uint8Array((((length + 8) >> 6) + 1) << 6);
    whole.set(bytes);
    whole[length] = 128;
    const view = new DataView(whole.buffer);
    view.setUint32(whole.length - 8, Math.floor(length / 0x20000000));
    view.setUint32(whole.length - 4, (length << 3) >>> 0);
    const state = Uint32Array.from(sealing.roots.start);
    const w = new Uint32Array(64);
    for (let at = 0; at < whole.length; at += 64) {
      for (let t = 0; t < 16; t += 1) w[t] = view.getUint32(at + 4 * t);
      for (let t = 16; t < 64; t += 1) {
        const a = w[t - 15], b = w[t - 2];
        w[t] = w[t - 16] + (turn(a, 7) ^ turn(a, 18) ^ (a >>> 3)) + w[t - 7] + (turn(b, 17) ^ turn(b, 19) ^ (b >>> 10));
      }
      let [a, b, c, d, e, f, g, h] = state;
      for (let t = 0; t < 64; t += 1) {
        const one = (h + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g)) + sealing.roots.round[t] + w[t]) | 0;
        const two = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
        [h, g, f, e, d, c, b, a] = [g, f, e, (d + one) | 0, c, b, a, (one + two) | 0];
      }
      [a, b, c, d, e, f, g, h].forEach((word, k) => { state[k] += word; });
    }
    const out = new Uint8Array(32);
    state.forEach((word, k) => new DataView(out.buffer).setUint32(4 * k, word));
    return out;
  },
  hmac(key, bytes) {
    const block = new Uint8Array(64);
    block.set(key.length > 64 ? sealing.sha256(key) : key);
    const after = (mark, rest) => { const all = new Uint8Array(64 + rest.length); all.set(block.map((b) => b ^ mark)); all.set(rest, 64); return all; };
    return sealing.sha256(after(0x5c, sealing.sha256(after(0x36, bytes))));
  },
  // Every value with its kind and length, keys in order: the desk makes the same bytes of the file it reads.
  canonical(value) {
    const piece = (kind, said) => `${kind}${sealing.utf8(said).length}:${said.toWellFormed ? said.toWellFormed() : said}`;
    if (value === null) return "z";
    if (value === true || value === false) return value ? "t" : "f";
    if (typeof value === "number") return piece("n", JSON.stringify(value));
    if (typeof value === "string") return piece("s", value);
    if (Array.isArray(value)) return `[${value.map(sealing.canonical).join("")}]`;
    return `{${Object.keys(value).sort().map((key) => piece("s", key) + sealing.canonical(value[key])).join("")}}`;
  },
  // What is handed over, signed with the phone's secret; as it is where the phone has none.
  signed(out, pairing) {
    if (!pairing) return out;
    const told = JSON.parse(JSON.stringify({ ...out, phone: pairing.phone })); // as it will be read
    return { ...told, signature: sealing.hex(sealing.hmac(sealing.fromHex(pairing.secret), sealing.utf8(sealing.canonical(told)))) };
  },
};
