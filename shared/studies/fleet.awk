# The main figures of fleet.csv as a table: awk -F, -f fleet.awk fleet.csv
# Rows of the first few engines are only for the check.
/^#/ || $3 + 0 < 100 { next }
BEGIN {
    label["learned_map_rms"] = "Mixture error, learned map"
    label["settle_s"] = "Within 2 % after"
    label["over_offline_fit"] = "Error over that of the offline fit"
    printf "%-42s%9s%9s%9s\n", "", "integral", "gradient", "kalman"
}
$2 in label { median[$2, $1] = $7; high[$2, $1] = $9 }
$2 == "within_two_sigma" { within[$1] = $11 }
$2 == "stalls" { engines = $3; stalls += $11 * $3 }
function line(name, values, figure, unit, factor, digits) {
    printf "%-42s", name
    split("integral gradient kalman", learners, " ")
    for (i = 1; i <= 3; i++) printf "%9s", sprintf("%." digits "f%s", factor * values[figure, learners[i]], unit)
    print ""
}
END {
    line(label["learned_map_rms"] ", median", median, "learned_map_rms", " %", 100, 2)
    line("  95 % quantile", high, "learned_map_rms", " %", 100, 2)
    line(label["settle_s"] ", median", median, "settle_s", " s", 1, 0)
    line("  95 % quantile", high, "settle_s", " s", 1, 0)
    line(label["over_offline_fit"] ", median", median, "over_offline_fit", "", 1, 2)
    printf "%-42s", "Cells within two standard deviations"
    for (i = 1; i <= 3; i++) printf "%9s", sprintf("%.0f %%", 100 * within[learners[i]])
    printf "\n%-42s%9d\n", "Stalls of " engines " engines, all learners", stalls
}
