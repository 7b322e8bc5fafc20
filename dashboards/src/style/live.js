// Keeps #now current from /live. The page is whole without this script; it only saves the reload.
"use strict";
(() => {
  const now = document.getElementById("now");
  const stale = document.getElementById("stale");
  if (!now || !stale || !("EventSource" in window)) return;

  const replace = (fragment) => {
    // What a person has opened or stands on stays so across the change.
    const open = [...now.querySelectorAll("details[open]")].map((each) => each.id);
    const focus = document.activeElement?.closest("#now details")?.id;
    const action = document.activeElement?.closest("#now form")?.getAttribute("action");
    now.innerHTML = fragment;
    for (const id of open) document.getElementById(id)?.setAttribute("open", "");
    if (focus) document.getElementById(focus)?.querySelector("summary")?.focus();
    if (action) now.querySelector(`form[action="${action}"] button`)?.focus();
    const headline = [".over", ".unknown", ".watch", ".calm"]
      .map((tone) => now.querySelector(`${tone} .headline`)).find((found) => found);
    if (headline) document.title = `${headline.textContent} · dwellwatch`;
  };

  // A button that is replaced while it is pressed is never clicked.
  let pressed = false;
  now.addEventListener("pointerdown", (event) => { pressed = event.target.closest("form") !== null; });
  for (const end of ["pointerup", "pointercancel"]) window.addEventListener(end, () => { pressed = false; });

  const live = new EventSource("/live");
  live.addEventListener("open", () => { stale.hidden = true; });
  live.addEventListener("message", (event) => { stale.hidden = true; if (!pressed) replace(event.data); });
  live.addEventListener("error", () => { stale.hidden = false; });
})();
