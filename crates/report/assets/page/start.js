// Draws everything in the look and units of the moment, and again when they change.
const dark = matchMedia("(prefers-color-scheme: dark)");
const drawAll = () => {
  const chosen = byId("look").value;
  const look = printing ? "light" : chosen === "auto" ? (dark.matches ? "dark" : "light") : chosen;
  document.documentElement.dataset.look = look;
  document.documentElement.style.colorScheme = look;
  units = UNITS[byId("units").value];
  const zoom = charts.time ? zoomWindow() : null;
  drawSpread();
  drawTime();
  drawPath();
  drawMaps();
  drawMoment();
  drawRefusals();
  if (zoom) setZoom(...zoom);
};
// On paper the page is as narrow as the narrower of A4 and Letter, whatever the window is.
const print = (starts) => {
  printing = starts;
  document.documentElement.classList.toggle("printing", starts);
  fit();
};
const fit = () => {
  Object.values(charts).forEach((chart) => chart.resize());
  drawAll();
};

listenReplay();
drawAll();
listenTime();
listenMaps();
linkOverTime(["time", "error-path", "cell-path"].filter((id) => charts[id]));

byId("look").addEventListener("change", drawAll);
byId("units").addEventListener("change", drawAll);
dark.addEventListener("change", drawAll);
let resizing = null;
addEventListener("resize", () => { clearTimeout(resizing); resizing = setTimeout(fit, 120); });
addEventListener("beforeprint", () => print(true));
addEventListener("afterprint", () => print(false));
body.dataset.ready = "yes";
