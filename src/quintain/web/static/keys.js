// Keys of a page: listen({j: next, k: previous}); nothing is taken while somebody types or a dialog is open.
export function listen(bindings) {
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
    const target = event.target;
    if (target.closest?.("input, select, textarea, [contenteditable], .stage")) return;
    if (document.querySelector("dialog[open]")) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const run = bindings[key];
    if (!run || (key === "Enter" && target.closest?.("a, button"))) return;
    event.preventDefault();
    run(event);
  });
}
