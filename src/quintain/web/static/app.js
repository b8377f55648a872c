// What every page does beyond its HTML: theme without loading anew, dialogs, sorting, notices, copying.
const NARROW = "\u202f", MINUS = "\u2212";

/** What the clipboard and sorting get: no narrow spaces, a plain minus. */
function plain(text) {
  return text.replaceAll(NARROW, "").replaceAll(MINUS, "-");
}

function notice(words) {
  const place = document.getElementById("notice");
  if (!place) return;
  place.textContent = words;
  place.className = words ? "notice" : "";
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches("form.theme")) return;
  event.preventDefault();
  const theme = event.submitter.value, data = new URLSearchParams(new FormData(form));
  data.set("theme", theme);
  const root = document.documentElement;
  root.classList.remove("light", "dark");
  if (theme !== "auto") root.classList.add(theme);
  for (const button of form.querySelectorAll("button")) {
    button.setAttribute("aria-pressed", String(button.value === theme));
  }
  const answer = await fetch("/theme", { method: "POST", body: data, redirect: "manual" }).catch(() => null);
  if (!answer || answer.status >= 400) notice("The theme could not be kept; the server did not answer.");
});

document.addEventListener("click", (event) => {
  const opener = event.target.closest("[data-opens]");
  if (opener) {
    const dialog = document.getElementById(opener.dataset.opens);
    for (const [key, value] of Object.entries(opener.dataset)) {
      if (!key.startsWith("fill")) continue;
      const name = key.slice(4).replace(/^[A-Z]/, (c) => c.toLowerCase());
      const field = dialog.querySelector(`[name="${name}"]`);
      if (field) field.value = value;
    }
    dialog.showModal();
    dialog.querySelector("input:not([type=hidden]), select, textarea")?.focus();
    return;
  }
  if (event.target.closest("[data-shuts]")) event.target.closest("dialog").close();
  const sorter = event.target.closest("table[data-sortable] thead button");
  if (sorter) sort(sorter.closest("th"));
});

/** Sort a table's rows by a column; a head over two columns sorts by the first. */
function sort(head) {
  const table = head.closest("table"), body = table.tBodies[0];
  let column = 0;
  for (let th = head.previousElementSibling; th; th = th.previousElementSibling) column += th.colSpan;
  const up = head.getAttribute("aria-sort") !== "ascending";
  for (const th of table.querySelectorAll("thead th")) {
    th.removeAttribute("aria-sort");
    const button = th.querySelector("button");
    if (button) button.textContent = button.textContent.replace(/ [↑↓]$/, "");
  }
  head.setAttribute("aria-sort", up ? "ascending" : "descending");
  head.querySelector("button").append(up ? " ↑" : " ↓");
  const key = (row) => {
    const cell = row.cells[column], text = plain(cell.dataset.sort ?? cell.textContent.trim());
    const value = Number(text);
    return text === "" ? null : Number.isNaN(value) ? text.toLowerCase() : value;
  };
  const rows = [...body.rows].map((row) => [key(row), row]);
  rows.sort(([a], [b]) => {
    if (a === null || b === null) return (a === null) - (b === null);
    const order = typeof a === "number" && typeof b === "number" ? a - b : String(a).localeCompare(String(b));
    return up ? order : -order;
  });
  body.append(...rows.map(([, row]) => row));
}

document.addEventListener("htmx:beforeRequest", () => notice(""));
document.addEventListener("htmx:responseError", (event) => {
  const { status, responseText } = event.detail.xhr;
  notice(responseText.length < 500 && !responseText.includes("<") ? responseText : `The server refused (${status}).`);
});
document.addEventListener("htmx:sendError", () => notice("The server does not answer. What you entered is still here."));

document.addEventListener("copy", (event) => {
  const text = String(getSelection());
  if (event.target.closest?.("input, textarea") || plain(text) === text) return;
  event.clipboardData.setData("text/plain", plain(text));
  event.preventDefault();
});
