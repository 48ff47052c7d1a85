// Sends a machine's files one after the other, shows how far it is, and tries again when the line
// breaks: the server knows a file it has by its content, so that none is lost and none comes twice.
"use strict";

const form = document.querySelector("#curve-upload");
const state = document.querySelector("#upload-state");
const progress = document.querySelector("#upload-progress");
const rests = [1000, 3000, 10000, 30000, 60000];

const rest = (ms) => new Promise((done) => setTimeout(done, ms));

// One file, until the server has answered; what it says against the file, or nothing.
async function send(file) {
  for (let attempt = 0; ; attempt += 1) {
    const body = new FormData();
    body.append("files", file, file.name);
    try {
      const answer = await fetch(form.action, { method: "POST", body });
      if (answer.ok) return "";
      if (![408, 429, 500, 502, 503, 504].includes(answer.status)) {
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        const said = page.querySelector("#e-files") || page.querySelector("main p");
        return said ? said.textContent : `${file.name}: the server did not take it.`;
      }
    } catch {
      // The line is broken; the file is sent again below.
    }
    if (attempt >= rests.length) return `${file.name}: the line broke, and it was not sent.`;
    state.textContent = `Waiting for the line; ${file.name} is sent again.`;
    await rest(rests[attempt]);
  }
}

async function sendAll(files) {
  const troubles = [];
  progress.hidden = false;
  progress.max = files.length;
  for (const [n, file] of files.entries()) {
    state.textContent = `Sending ${n + 1} of ${files.length}: ${file.name}`;
    const trouble = await send(file);
    if (trouble) troubles.push(trouble);
    progress.value = n + 1;
  }
  return troubles;
}

if (form) {
  form.addEventListener("submit", async (event) => {
    const files = Array.from(form.elements.files.files);
    if (files.length < 2) return;
    event.preventDefault();
    const button = form.querySelector("button");
    button.disabled = true;
    const troubles = await sendAll(files);
    button.disabled = false;
    if (troubles.length === 0) {
      location.reload();
      return;
    }
    const sent = files.length - troubles.length;
    state.textContent = `${sent} of ${files.length} were sent. ${troubles.join(" ")}`;
  });
}
