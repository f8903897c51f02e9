// An opening of the live page as a table of a case file.
//
// Panelcp.live.caseEntry({name, use, kind, shape, centre (m), length, width (m), turn (deg), recovery})
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const live = (Panelcp.live = Panelcp.live || {});

  // Basic string of TOML; what may not stand in a name of one line becomes a blank.
  function quoted(text) {
    const inner = Array.from(text, (letter) => {
      const code = letter.codePointAt(0);
      if (letter === "\\" || letter === '"') return `\\${letter}`;
      if (code < 0x20 || (code >= 0x7f && code < 0xa0)) return " ";
      if (code >= 0xd800 && code <= 0xdfff) return "\ufffd"; // half of a letter
      return letter;
    });
    return `"${inner.join("")}"`;
  }

  // Tenths of a millimetre.
  const millimetres = (value) => `"${Number((1000 * value).toFixed(1)) + 0} mm"`;

  live.caseEntry = ({ name, use, kind, shape, centre, length, width, turn, recovery }) => {
    const lines = [
      "[[opening]]",
      `name = ${quoted(name)}`,
      `use = "${use}"`,
      `kind = "${kind}"`,
      `shape = "${shape}"`,
      `centre = [${centre.map(millimetres).join(", ")}]`,
      `length = ${millimetres(length)}`,
      `width = ${millimetres(width)}`,
    ];
    if (turn) lines.push(`turn = "${Number(turn.toFixed(2))} deg"`);
    if (use === "inlet") lines.push(`recovery = { value = "${Number(recovery.toFixed(3))}", mark = "yours", source = "set on the live page" }`);
    lines.push("# for the cooling network, add its name to inlets or exits of [cooling]");
    return `${lines.join("\n")}\n`;
  };
})();
