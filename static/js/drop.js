// Drop zones around file inputs: files can be dropped on them, and what was chosen is shown before it is sent.
//
// Hooks: [data-drop] around an <input type=file>; data-drop-digest also shows the SHA-256 (needs a secure context: https or localhost);
//        [data-drop-files] the list to fill; [data-drop-hint] shown when dropping works.

const DIGEST_LIMIT = 256 * 1024 * 1024;
const PICTURES = new Set(["image/png", "image/jpeg"]);

function sizeText(bytes) {
  if (bytes < 1024) return `${bytes} B`;
  const units = ["KiB", "MiB", "GiB"];
  let value = bytes / 1024;
  let unit = 0;
  while (value >= 1024 && unit < units.length - 1) {
    value /= 1024;
    unit += 1;
  }
  return `${value.toFixed(1)} ${units[unit]} (${bytes.toLocaleString("en")} bytes)`;
}

async function digest(file) {
  const hash = await crypto.subtle.digest("SHA-256", await file.arrayBuffer());
  return [...new Uint8Array(hash)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

// A picture is shown small before it is sent; anything else, or one the browser cannot decode, by its name alone.
function preview(file) {
  const image = document.createElement("img");
  image.className = "drop-picture";
  image.alt = "";
  image.src = URL.createObjectURL(file);
  const done = () => URL.revokeObjectURL(image.src);
  image.addEventListener("load", done);
  image.addEventListener("error", () => { done(); image.remove(); });
  return image;
}

async function describe(zone, file) {
  const item = document.createElement("li");
  if (PICTURES.has(file.type)) item.append(preview(file));
  const name = document.createElement("strong");
  name.textContent = file.name;
  item.append(name, ` · ${sizeText(file.size)}`);
  if (!("dropDigest" in zone.dataset) || !crypto.subtle || file.size > DIGEST_LIMIT) return item;
  const line = document.createElement("span");
  line.className = "drop-digest";
  line.textContent = "SHA-256 is being computed";
  item.append(line);
  digest(file).then(
    (text) => { line.textContent = `SHA-256 ${text}`; },
    () => { line.textContent = "The file could not be read here; the server computes its SHA-256."; },
  );
  return item;
}

async function show(zone, input) {
  const list = zone.querySelector("[data-drop-files]");
  const lines = await Promise.all([...input.files].map((file) => describe(zone, file)));
  const left = Number(zone.dataset.left ?? 0);
  delete zone.dataset.left;
  if (left > 0) {
    const line = document.createElement("li");
    line.textContent = `This place takes one file; ${left === 1 ? "the other was" : `${left} others were`} left out.`;
    lines.push(line);
  }
  list?.replaceChildren(...lines);
}

function equip(scope) {
  for (const zone of scope.querySelectorAll("[data-drop]:not([data-drop-ready])")) {
    zone.dataset.dropReady = "";
    const hint = zone.querySelector("[data-drop-hint]");
    if (hint) hint.hidden = false;
    zone.querySelector("input[type=file]").addEventListener("change", (event) => show(zone, event.target));
  }
}

function zoneOf(event) {
  return event.dataTransfer?.types.includes("Files") ? event.target.closest?.("[data-drop]") : null;
}

document.addEventListener("dragover", (event) => {
  const zone = zoneOf(event);
  if (!zone) return;
  event.preventDefault();
  zone.dataset.over = "";
});
document.addEventListener("dragleave", (event) => {
  const zone = event.target.closest?.("[data-drop]");
  if (zone && !zone.contains(event.relatedTarget)) delete zone.dataset.over;
});
document.addEventListener("drop", (event) => {
  const zone = zoneOf(event);
  if (!zone) return;
  event.preventDefault();
  delete zone.dataset.over;
  const input = zone.querySelector("input[type=file]");
  const dropped = [...event.dataTransfer.files];
  const given = new DataTransfer();
  for (const file of input.multiple ? dropped : dropped.slice(0, 1)) given.items.add(file);
  input.files = given.files;
  zone.dataset.left = String(dropped.length - given.files.length);
  input.dispatchEvent(new Event("change", { bubbles: true }));
});

equip(document);
document.addEventListener("htmx:load", (event) => equip(event.target.parentElement ?? document));
