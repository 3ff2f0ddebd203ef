"""What the modules of a desk page export, as names that tests can ask the page for."""

#: Scripts that a page imports itself and that tests ask as well, by an element that the page has then.
_MORE = {"/static/ground.js": "#grid"}
#: A module is loaded once in a page: importing it again hands out the names that the page itself uses, as they stand.
NAMES = (
    "async () => { const own = [...document.querySelectorAll('script[type=module][src]')].map((one) => one.src);"
    + "".join(f"if (document.querySelector('{place}')) own.push('{script}');" for script, place in _MORE.items())
    + "for (const script of own) { const told = await import(script); for (const name of Object.keys(told))"
    " Object.defineProperty(window, name, { get: () => told[name], configurable: true }); } }"
)
