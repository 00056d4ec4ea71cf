"use strict";
for (const box of document.querySelectorAll(".comparison")) {
  const stage = box.querySelector(".stage");
  const under = box.querySelector(".under");
  const wipe = box.querySelector(".wipe");
  const opacity = box.querySelector(".opacity");
  const zoom = box.querySelector(".zoom");
  const show = () => {
    stage.style.setProperty("--wipe", wipe.value + "%");
    stage.style.setProperty("--opacity", opacity.value / 100);
    stage.style.setProperty("--zoom", zoom.value);
    stage.style.setProperty("--height", under.getBoundingClientRect().height + "px");
    stage.classList.toggle("zoomed", zoom.value > 1);
  };
  // At zoom 1 the whole picture is in sight, upright ones too.
  const fit = () => {
    const ratio = under.naturalWidth / under.naturalHeight;
    if (ratio > 0) {
      stage.style.aspectRatio = ratio;
      stage.style.maxWidth = 0.85 * innerHeight * ratio + "px";
    }
    show();
  };
  // The part in the middle of the stage stays there while zooming.
  let zoomed = 1;
  zoom.addEventListener("input", () => {
    const grown = zoom.value / zoomed;
    const x = (stage.scrollLeft + stage.clientWidth / 2) * grown - stage.clientWidth / 2;
    const y = (stage.scrollTop + stage.clientHeight / 2) * grown - stage.clientHeight / 2;
    zoomed = zoom.value;
    show();
    stage.scrollTo(x, y);
  });
  const drag = (event) => {
    const area = under.getBoundingClientRect();
    wipe.value = 100 * (event.clientX - area.left) / area.width;
    show();
  };
  stage.addEventListener("pointerdown", (event) => {
    if (event.target === stage) return; // its scroll bars
    stage.setPointerCapture(event.pointerId);
    drag(event);
  });
  stage.addEventListener("pointermove", (event) => {
    if (stage.hasPointerCapture(event.pointerId)) drag(event);
  });
  wipe.addEventListener("input", show);
  opacity.addEventListener("input", show);
  under.addEventListener("load", fit);
  addEventListener("resize", fit);
  fit();
}
for (const button of document.querySelectorAll("figure button")) {
  button.addEventListener("click", () => {
    const large = button.closest("figure").classList.toggle("large");
    button.setAttribute("aria-expanded", large);
  });
}
