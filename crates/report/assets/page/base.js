// Common parts of all charts: report data, units, colours, number formats. Errors are counted on the body.
const body = document.body;
const countError = () => { body.dataset.errors = Number(body.dataset.errors) + 1; };
addEventListener("error", countError);
addEventListener("unhandledrejection", countError);

const report = JSON.parse(document.getElementById("story").textContent);
const byId = (id) => document.getElementById(id);
const percent = (ln) => (ln == null ? null : 100 * Math.expm1(ln));
const minutes = (seconds) => seconds / 60;
const fixed = (value, digits) => (value == null ? "–" : value.toFixed(digits).replace(/^-(?=0(\.0*)?$)/, "").replace("-", "−"));
const signed = (value, digits) => (Number(value?.toFixed(digits)) > 0 ? "+" : "") + fixed(value, digits);
const clock = (seconds) => {
  const whole = Math.round(seconds);
  return Math.floor(whole / 60) + ":" + String(whole % 60).padStart(2, "0") + " min";
};
const escaped = (words) => words.replace(/[&<>"]/g, (sign) => "&#" + sign.charCodeAt(0) + ";");

// The 98 % quantile of the absolute values, rounded up to a multiple of `step`.
const reach = (values, step) => {
  const sizes = values.filter((value) => value != null).map(Math.abs).sort((one, other) => one - other);
  return Math.max(step, step * Math.ceil((sizes[Math.floor(0.98 * (sizes.length - 1))] ?? 0) / step));
};

// UNITS is defined before this script: for each system speed and pressure as factor from SI and unit.
let units = UNITS.si;
let printing = false;

// ColorBrewer PuOr (11 classes), reversed so that orange is more fuel; viridis and cividis, nine stops.
const MORE_LESS = ["#2d004b", "#532687", "#8073ac", "#b1aad1", "#d8daeb", "#f6f6f7", "#fee0b6", "#fcb761", "#e08214", "#b25706", "#7f3b08"];
const VIRIDIS = ["#440154", "#472d7b", "#3b528b", "#2c728e", "#21918c", "#28ae80", "#5ec962", "#addc30", "#fde725"];
const CIVIDIS = ["#00224e", "#1a386f", "#434e6c", "#61656f", "#7d7c78", "#9b9476", "#bcae6c", "#dec958", "#fee838"];

const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
const FONT = 'system-ui, "Segoe UI", "Noto Sans", sans-serif';

// Options that all charts share, in the colours of the current theme.
const common = () => ({
  animation: false,
  textStyle: { fontFamily: FONT, color: colour("ink"), fontSize: 12 },
  tooltip: {
    backgroundColor: colour("card"), borderColor: colour("line"), textStyle: { color: colour("ink"), fontSize: 12 }, confine: true,
    transitionDuration: 0,
  },
});
const plain = (value) => String(value).replace("-", "−");
const axis = (more) => ({
  axisLine: { show: true, lineStyle: { color: colour("grey") } }, axisTick: { show: true, lineStyle: { color: colour("grey") } },
  axisLabel: { color: colour("soft"), hideOverlap: true, formatter: plain }, nameTextStyle: { color: colour("soft") },
  splitLine: { lineStyle: { color: colour("line") } }, ...more,
});

// Title with the legend at its right, or below it when narrow; `top` is the upper edge of the plot.
const headed = (id, words, names) => {
  const narrow = byId(id).clientWidth < 7 * names.join("").length + 40 * names.length + 8 * words.length;
  const rows = narrow ? Math.ceil((7 * names.join("").length + 40 * names.length) / byId(id).clientWidth) : 0;
  return {
    narrow,
    top: 42 + 20 * rows,
    title: { text: words, left: 8, top: 8, textStyle: { fontSize: 12, fontWeight: 600, color: colour("ink") } },
    legend: { top: narrow ? 28 : 8, ...(narrow ? { left: 8 } : { right: 16 }), itemHeight: 8, itemWidth: 22, textStyle: { color: colour("soft") }, selectedMode: false },
  };
};

// One chart per element; `show` creates it once and replaces its options, `missing` shows a reason instead.
const charts = {};
// Fixed margins of a plot, independent of the length of labels.
const plot = (more) => ({ left: 58, right: 20, outerBoundsMode: "none", ...more });
const show = (id, option) => {
  const element = byId(id);
  charts[id] ??= echarts.init(element, null, { renderer: "svg" });
  charts[id].setOption({ ...common(), ...option }, { notMerge: true });
  return charts[id];
};
const missing = (id, words) => {
  const element = byId(id);
  element.style.height = "auto";
  element.removeAttribute("tabindex");
  element.innerHTML = '<p class="hint" style="padding: .8rem">' + escaped(words) + "</p>";
};
