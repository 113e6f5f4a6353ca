// Draws everything in the look and units of the moment, and again when they change.
const dark = matchMedia("(prefers-color-scheme: dark)");
let printing = false;
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
const fit = () => {
  Object.values(charts).forEach((chart) => chart.resize());
  drawAll();
};

listenReplay();
drawAll();
listenTime();
listenMaps();
// Charts over time share zoom and cursor.
const linked = ["time", "error-path", "cell-path"].map((id) => charts[id]).filter(Boolean);
linked.forEach((chart) => { chart.group = "time"; });
echarts.connect("time");

byId("look").addEventListener("change", drawAll);
byId("units").addEventListener("change", drawAll);
dark.addEventListener("change", drawAll);
let resizing = null;
addEventListener("resize", () => { clearTimeout(resizing); resizing = setTimeout(fit, 120); });
addEventListener("beforeprint", () => { printing = true; fit(); });
addEventListener("afterprint", () => { printing = false; fit(); });
body.dataset.ready = "yes";
