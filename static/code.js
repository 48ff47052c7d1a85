// Codes as people type them: letters without look-alikes, the last one checks the others. The server
// checks everything again; here a slip is caught while it is typed, without a network too. The same
// rules in Rust: src/study/code.rs; a test holds the two together.
(() => {
  "use strict";
  const LETTERS = "34679ACDEFGHJKMNPQRTWXY";
  const SENTENCES = {
    length: "That is too short or too long for a code.",
    check: "The check character does not fit: one character is mistyped or two are exchanged.",
  };

  // Blanks are those of Unicode, capitals those of ASCII: other small letters have capitals of several
  // letters, or of another alphabet.
  const bare = (text) => text.replace(/[\p{White_Space}-]/gu, "").replace(/[a-z]+/g, (small) => small.toUpperCase());

  // ISO 7064 MOD 37,36.
  const checkCharacter = (payload) => {
    let product = 36;
    for (const letter of payload) {
      const sum = (product + parseInt(letter, 36)) % 36 || 36;
      product = (sum * 2) % 37;
    }
    return ((37 - product) % 36).toString(36).toUpperCase();
  };

  // What is wrong with a typed code: "" when nothing is, or "character", "length", "check".
  const fault = (text) => {
    const typed = bare(text);
    if ([...typed].some((letter) => !LETTERS.includes(letter))) return "character";
    if (typed.length < 5 || typed.length > 8) return "length";
    return checkCharacter(typed.slice(0, -1)) === typed.slice(-1) ? "" : "check";
  };

  const sentence = (text) => {
    const found = fault(text);
    if (found !== "character") return SENTENCES[found] ?? "";
    const odd = [...bare(text)].find((letter) => !LETTERS.includes(letter));
    return `No code holds the character “${odd}”; look again.`;
  };

  // The code in what a camera read: a label's address, or the code itself. "" when it is neither.
  const scanned = (text) => {
    const path = /\/s\/([^/?#]+)\/?$/.exec(text.trim());
    const found = bare(path ? path[1] : text);
    return fault(found) === "" ? found : "";
  };

  window.overwinter = Object.assign(window.overwinter ?? {}, {
    code: { bare, checkCharacter, fault, sentence, scanned },
  });

  // Fields that hold one code: <p data-code-check="f-code" role="status"></p> says what is wrong.
  for (const says of document.querySelectorAll("[data-code-check]")) {
    const field = document.getElementById(says.dataset.codeCheck);
    const look = () => {
      const typed = bare(field.value);
      // Not before it could be one: nobody wants to be corrected at the second letter.
      const found = typed.length < 5 && fault(typed) !== "character" ? "" : sentence(typed);
      if (says.textContent !== found) says.textContent = found;
    };
    field?.addEventListener("input", look);
  }
})();
