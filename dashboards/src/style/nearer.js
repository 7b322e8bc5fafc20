"use strict";

// Dragging over a print's lanes with a mouse or a pen goes nearer to what was dragged over. The links above the lanes
// do the same without it; a finger scrolls the page.
(() => {
  const lanes = document.querySelector(".print-lanes");
  if (!lanes) return;
  const from = Date.parse(lanes.dataset.from);
  const length = Date.parse(lanes.dataset.to) - from;
  const LEAST_PX = 8;
  const LEAST_MS = 60000;
  let begun = null;
  const mark = document.createElementNS("http://www.w3.org/2000/svg", "rect");
  mark.setAttribute("class", "dragged");
  mark.setAttribute("height", "100%");

  const along = (event) => {
    const box = lanes.getBoundingClientRect();
    return Math.min(1, Math.max(0, (event.clientX - box.left) / box.width));
  };
  const end = () => {
    begun = null;
    mark.remove();
  };
  lanes.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "touch" || event.button !== 0) return;
    event.preventDefault();
    lanes.setPointerCapture(event.pointerId);
    begun = { share: along(event), x: event.clientX };
  });
  lanes.addEventListener("pointermove", (event) => {
    if (!begun) return;
    const share = along(event);
    mark.setAttribute("x", `${Math.min(share, begun.share) * 100}%`);
    mark.setAttribute("width", `${Math.abs(share - begun.share) * 100}%`);
    lanes.append(mark);
  });
  lanes.addEventListener("pointercancel", end);
  lanes.addEventListener("pointerup", (event) => {
    if (!begun) return;
    const [left, right] = [begun.share, along(event)].sort((a, b) => a - b);
    const isDrag = Math.abs(event.clientX - begun.x) >= LEAST_PX;
    end();
    if (!isDrag || (right - left) * length < LEAST_MS) return;
    const at = (share) => new Date(from + share * length).toISOString();
    location.assign(`${location.pathname}?from=${at(left)}&to=${at(right)}#heat`);
  });
})();
