// What more can be said of a finding: by one tap each for what decisions need, and the long form for all of it.

const QUARTERS = [25, 50, 75, 100];

// Share dead, the shoot and how good it is, of the finding just written; the next digit goes on with the next vine.
function quickParts(item) {
  const taps = (name, values, words) => el("div", { class: "four", role: "group", "aria-label": word(name) }, ...values.map((value) => button(words(value), () => once(() => change(item.id, { [name]: item.row[name] === value ? "" : value })),
    { "aria-pressed": String(item.row[name] === value), [`data-${name}`]: String(value) })));
  const label = (name) => el("span", { class: "label" }, word(name));
  const shoots = data.shoots.filter((one) => one !== "own_root" || item.row.renewal_shoot === one);
  return [label("percent"), taps("percent", QUARTERS, (n) => `${n} %`),
    label("renewal_shoot"), taps("renewal_shoot", shoots, (one) => word(`short.shoot_${one}`)),
    item.row.renewal_shoot && item.row.renewal_shoot !== "none" ? taps("shoot_quality", data.qualities, (one) => word(`short.quality_${one}`)) : null];
}

function detailsScreen(id) {
  const item = items.find((one) => one.id === id);
  if (!item) return;
  settle("details");
  const fields = [];
  const number = (name) => { const input = el("input", { id: name, inputmode: "decimal", value: item.row[name] ?? "" }); fields.push([name, input]); return [el("label", { for: name }, word(name)), input]; };
  const list = (name, codes, prefix) => {
    const input = el("select", { id: name }, el("option", { value: "" }, word("leave")), ...codes.map((c) => el("option", { value: c, selected: item.row[name] === c }, code(prefix + c))));
    fields.push([name, input]);
    return [el("label", { for: name }, word(name)), input];
  };
  // One tap a choice, the same again takes it back.
  const taps = (name, codes, prefix) => {
    const input = { value: item.row[name] ?? "", getAttribute: () => null };
    const buttons = codes.map((c) => button(code(prefix + c), () => {
      input.value = input.value === c ? "" : c;
      buttons.forEach((one, k) => one.setAttribute("aria-pressed", String(input.value === codes[k])));
    }, { "aria-pressed": String(input.value === c), "data-code": c }));
    fields.push([name, input]);
    return [el("span", { class: "label", id: `${name}-label` }, word(name)), el("div", { class: "two", role: "group", "aria-labelledby": `${name}-label` }, ...buttons)];
  };
  const text = (name) => { const input = el("input", { id: name, value: item.row[name] ?? "" }); fields.push([name, input]); return [el("label", { for: name }, word(name)), input]; };
  show(el("h1", {}, `${item.row.row}:${item.row.position} ${code(item.row.symptom)}`),
    ...number("percent"), ...number("dead"), ...number("total"), ...number("empty_percent"), ...number("trunk"), ...number("cut_height_cm"), ...number("stain_cm"),
    ...list("pattern", data.patterns, "pattern_"), ...list("cause", data.causes, ""), ...list("renewal_shoot", data.shoots, "shoot_"), ...taps("shoot_quality", data.qualities, "quality_"), ...text("photo"), ...text("note"),
    el("div", { class: "two" }, button(word("back"), render), button(word("save"), () => {
      const values = {};
      for (const [name, input] of fields) {
        const said = input.value.trim();
        const numeric = input.getAttribute("inputmode") === "decimal";
        const asNumber = Number(said.replace(",", "."));
        values[name] = said === "" ? "" : numeric && !Number.isNaN(asNumber) ? asNumber : said;
      }
      const wrong = pure.wrong(values);
      if (wrong) { tick(`${word(wrong[0])}: ${wrong[1]}?`, true); document.getElementById(wrong[0]).focus(); return; }
      once(() => change(item.id, values));
    }, { class: "go" })));
}
