/* The command that plans a main, ready to copy. */
function shellWord(text) {
  const word = String(text);
  if (/^[\w.,:/@%+=-]+$/.test(word)) return word;
  return /["$`\\!\n\r]/.test(word) ? `'${word.replace(/'/g, "'\\''")}'` : `"${word}"`;
}

/* `lengths`: id of a main, chainages from and to [m]. */
function planCommand(command, lengths) {
  const metres = (value) => String(Math.round(value * 1000) / 1000);
  const [first, ...others] = lengths;
  const words = ["gas-netplan", "plan", command.network, "--main", first[0], "--from", metres(first[1]), "--to", metres(first[2])];
  for (const [id, from, to] of others) words.push("--and-main", `${id}:${metres(from)}:${metres(to)}`);
  words.push(...command.options, "--out", `plan-${String(first[0]).replace(/[^\w-]+/g, "_")}`);
  return words.map(shellWord).join(" ");
}

function commandBox(text) {
  const code = build("code", {}, text), said = build("span", { role: "status" });
  const button = build("button", { type: "button" }, "Copy");
  button.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(text);
    } catch {
      const range = document.createRange();
      range.selectNodeContents(code);
      getSelection().removeAllRanges();
      getSelection().addRange(range);
      document.execCommand("copy");
    }
    said.textContent = "copied";
  });
  return build("div", { class: "command" }, code, build("div", {}, button, said));
}
