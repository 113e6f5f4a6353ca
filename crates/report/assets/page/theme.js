// Redraws the charts when theme, width or one of `choices` changes, and for printing: light and as narrow as the narrower of A4 and Letter.
// `draw` draws them in the current theme.
const keepDrawn = (draw, choices = []) => {
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const drawAll = () => {
    const chosen = byId("look").value;
    const look = printing ? "light" : chosen === "auto" ? (dark.matches ? "dark" : "light") : chosen;
    document.documentElement.dataset.look = look;
    document.documentElement.style.colorScheme = look;
    draw();
  };
  const fit = () => {
    Object.values(charts).forEach((chart) => chart.resize());
    drawAll();
  };
  const print = (starts) => {
    printing = starts;
    document.documentElement.classList.toggle("printing", starts);
    fit();
  };
  ["look", ...choices].forEach((id) => byId(id).addEventListener("change", drawAll));
  dark.addEventListener("change", drawAll);
  let resizing = null;
  addEventListener("resize", () => { clearTimeout(resizing); resizing = setTimeout(fit, 120); });
  addEventListener("beforeprint", () => print(true));
  addEventListener("afterprint", () => print(false));
  drawAll();
};
