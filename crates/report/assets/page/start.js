// Draws the page of a run in the look and units of the moment.
listenReplay();
byId("units").value = story.units;
keepDrawn(() => {
  units = UNITS[byId("units").value];
  const zoom = charts.time ? zoomWindow() : null;
  drawSpread();
  drawTime();
  drawPath();
  drawMaps();
  drawMoment();
  drawRefusals();
  if (zoom) setZoom(...zoom);
}, ["units"]);
listenTime();
listenMaps();
linkOverTime(["time", "error-path", "cell-path"].filter((id) => charts[id]));
body.dataset.ready = "yes";
