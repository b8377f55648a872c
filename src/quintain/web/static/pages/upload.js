// Forms with files: dropped files, how much has been sent, and a way to stop. Without this they post as any form.

const BEYOND = "The server was stopped or out of reach; nothing half was kept. Send it again.";

/** Files of a drop, those in folders too. */
async function filesOf(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.some((entry) => entry.isDirectory)) return [...transfer.files];
  const files = [];
  const walk = async (entry) => {
    if (entry.isFile) files.push(await new Promise((take, fail) => entry.file(take, fail)));
    else {
      const reader = entry.createReader();
      for (let some; (some = await new Promise((take, fail) => reader.readEntries(take, fail))).length; )
        for (const one of some) await walk(one);
    }
  };
  for (const entry of entries) await walk(entry);
  return files;
}

function say(words) {
  const notice = document.getElementById("notice");
  notice.className = "notice";
  notice.textContent = words;
}

function dropping(zone) {
  const input = zone.querySelector("input[type=file]");
  const list = zone.querySelector("[data-chosen]");
  const chosen = () => {
    const names = [...input.files].map((file) => file.name);
    list.textContent = names.length ? `${names.length} chosen: ${names.slice(0, 6).join(", ")}${names.length > 6 ? ", …" : ""}` : "";
  };
  input.addEventListener("change", chosen);
  zone.addEventListener("dragover", (event) => { event.preventDefault(); zone.classList.add("over"); });
  zone.addEventListener("dragleave", () => zone.classList.remove("over"));
  zone.addEventListener("drop", async (event) => {
    event.preventDefault();
    zone.classList.remove("over");
    const transfer = new DataTransfer();
    for (const file of await filesOf(event.dataTransfer)) transfer.items.add(file);
    input.files = transfer.files;
    chosen();
  });
}

function sending(form) {
  const panel = form.querySelector("[data-progress]");
  const bar = panel.querySelector("progress");
  const words = panel.querySelector("p");
  const buttons = form.querySelectorAll("button:not([data-cancel])");
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const request = new XMLHttpRequest();
    const began = performance.now();
    const over = () => { panel.hidden = true; for (const button of buttons) button.disabled = false; };
    panel.hidden = false;
    bar.removeAttribute("value");
    words.textContent = "Sending";
    for (const button of buttons) button.disabled = true;
    request.upload.addEventListener("progress", ({ loaded, total }) => {
      bar.max = total;
      bar.value = loaded;
      const left = ((performance.now() - began) / 1000) * (total / loaded - 1);
      const time = left > 90 ? `, about ${Math.ceil(left / 60)} min left` : left > 3 ? `, about ${Math.ceil(left)} s left` : "";
      words.textContent = loaded < total ? `Sending: ${(loaded / 1e6).toFixed(1)} of ${(total / 1e6).toFixed(1)} MB${time}` : "Sent; being read";
    });
    request.addEventListener("load", () => {
      const target = new URL(form.action, location.href).href;
      if (request.status < 400 && request.responseURL !== target) { location.assign(request.responseURL); return; }
      over();
      const page = new DOMParser().parseFromString(request.responseText, "text/html");
      if (request.status !== 422 || !page.querySelector("form[data-upload]")) {
        say(page.querySelector(".verdict .why, .verdict h1")?.textContent.trim() || BEYOND);
        return;
      }
      for (const part of [".verdict", "main"]) document.querySelector(part).replaceWith(page.querySelector(part));
      begin();
      (document.querySelector("[aria-invalid=true]") ?? document.querySelector("main")).focus();
    });
    request.addEventListener("error", () => { over(); say(BEYOND); });
    request.addEventListener("abort", () => { over(); say("Cancelled; nothing of it was kept."); });
    panel.querySelector("[data-cancel]").onclick = () => request.abort();
    request.open("POST", form.action);
    request.send(new FormData(form));
  });
}

function begin() {
  document.querySelectorAll("form[data-upload]").forEach(sending);
  document.querySelectorAll("[data-drop]").forEach(dropping);
}

begin();
