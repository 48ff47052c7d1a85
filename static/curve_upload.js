// Sends a machine's files one after the other, chosen or dropped, shows how far it is, and tries again when
// the line breaks: the server knows a file it has by its content, so that none is lost and none comes twice.
"use strict";

const form = document.querySelector("#curve-upload");
const state = document.querySelector("#upload-state");
const progress = document.querySelector("#upload-progress");
const rests = [1000, 3000, 10000, 30000, 60000];

const rest = (ms) => new Promise((done) => setTimeout(done, ms));

// A folder's name may be the code of the piece: it goes with the file.
const named = (file, path = file.webkitRelativePath) => ({ file, name: path || file.name });

// What a system puts into folders by itself. What was chosen or dropped by its own name is meant.
const isHidden = ({ name }) =>
  name.split("/").slice(1).some((part) => /^(\.|thumbs\.db$|desktop\.ini$)/i.test(part));

// One file, until the server has answered; what it says against the file, or nothing.
async function send({ file, name }) {
  for (let attempt = 0; ; attempt += 1) {
    const body = new FormData();
    body.append("files", file, name);
    try {
      const answer = await fetch(form.action, { method: "POST", body });
      if (answer.ok) return "";
      if (![408, 429, 500, 502, 503, 504].includes(answer.status)) {
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        const said = page.querySelector("#e-files") || page.querySelector("main p");
        return said ? said.textContent : `${name}: the server did not take it.`;
      }
    } catch {
      // The line is broken; the file is sent again below.
    }
    if (attempt >= rests.length) return `${name}: the line broke, and it was not sent.`;
    state.textContent = `Waiting for the line; ${name} is sent again.`;
    await rest(rests[attempt]);
  }
}

async function sendAll(files) {
  const troubles = [];
  progress.hidden = false;
  progress.max = files.length;
  progress.value = 0;
  for (const [n, file] of files.entries()) {
    state.textContent = `Sending ${n + 1} of ${files.length}: ${file.name}`;
    const trouble = await send(file);
    if (trouble) troubles.push(trouble);
    progress.value = n + 1;
  }
  return troubles;
}

// Sends them and shows the list anew, or what was not taken.
async function take(all) {
  const files = all.filter((one) => !isHidden(one));
  if (files.length === 0) {
    state.textContent = "There is no file in it.";
    return;
  }
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
}

// The files of something dropped: itself, or all that is in a folder and in the folders within it.
async function walked(entry, path = "") {
  const own = path + entry.name;
  if (entry.isFile) {
    const file = await new Promise((done, failed) => entry.file(done, failed));
    return [named(file, own)];
  }
  const reader = entry.createReader();
  const found = [];
  // A folder is read some at a time, until nothing comes.
  for (;;) {
    const some = await new Promise((done, failed) => reader.readEntries(done, failed));
    if (some.length === 0) return found;
    for (const one of some) found.push(...(await walked(one, `${own}/`)));
  }
}

// What was dropped can be asked for only until the event is over; it is walked afterwards.
function dropped(items) {
  const given = Array.from(items).filter((item) => item.kind === "file");
  const entries = given.map((item) => item.webkitGetAsEntry() || item.getAsFile());
  const isFile = (one) => one instanceof File;
  return Promise.all(entries.map((one) => (isFile(one) ? [named(one)] : walked(one))));
}

if (form) {
  form.addEventListener("submit", (event) => {
    const fields = Array.from(form.querySelectorAll("input[type=file]"));
    const files = fields.flatMap((field) => Array.from(field.files)).map((file) => named(file));
    if (files.length < 2) return;
    event.preventDefault();
    take(files);
  });
  form.addEventListener("dragover", (event) => {
    if (!event.dataTransfer.types.includes("Files")) return;
    event.preventDefault();
    form.classList.add("over");
  });
  form.addEventListener("dragleave", () => form.classList.remove("over"));
  form.addEventListener("drop", async (event) => {
    form.classList.remove("over");
    if (!event.dataTransfer.types.includes("Files")) return;
    event.preventDefault();
    const button = form.querySelector("button");
    if (button.disabled) {
      state.textContent = "Files are being sent; drop these when that is done.";
      return;
    }
    try {
      take((await dropped(event.dataTransfer.items)).flat());
    } catch (error) {
      state.textContent = `What was dropped could not be read (${error.name}). Choose the files instead.`;
    }
  });
}
