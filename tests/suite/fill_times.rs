//! Times beside weights: a trend an hour is told from times, dates and counted hours, over midnight and over days, and never
//! from dates that can be read two ways.

use crate::tool::Tool;

/// Grams an hour of a run that gains 0.6 g from fill to fill, whose fills come at these times.
fn per_hour(head: &str, times: [&str; 6], row: impl Fn(&str, f64) -> String) -> Option<f64> {
    let gains = [0.0, 0.61, 1.19, 1.8, 2.41, 3.0];
    let rows: Vec<String> = times.iter().zip(gains).map(|(time, gain)| row(time, 250.0 + gain)).collect();
    let text = format!("{head}{}\n", rows.join("\n"));
    let said = Tool::minimal(80).typed(&["weights", "--target", "250 g", "--json"], text.as_bytes());
    let json = said.json();
    assert_eq!(json["summary"]["n"], 6, "{text}{}", said.block());
    json["summary"]["trend"]["per_hour"]["estimate"].as_f64()
}

fn near(found: Option<f64>, wanted: f64) {
    assert!(found.is_some_and(|found| (found - wanted).abs() < 0.01 * wanted), "{found:?} for {wanted}");
}

#[test]
fn a_trend_an_hour_follows_the_clock_the_date_and_the_day() {
    let cell = |time: &str, weight: f64| format!("{weight:.2};{time}");
    let logger = |time: &str, weight: f64| format!("{time} {weight:.2} g");
    let clock = ["21:00", "22:00", "23:00", "0:00", "1:00", "2:00"];
    near(per_hour("net (g);time\n", clock, cell), 0.6);
    near(per_hour("", clock, logger), 0.6);
    let dated = [
        "2026-02-27 06:00",
        "2026-02-27 18:00",
        "2026-02-28 06:00",
        "2026-02-28 18:00",
        "2026-03-01 06:00",
        "2026-03-01 18:00",
    ];
    near(per_hour("net (g);timestamp\n", dated, cell), 0.05);
    near(per_hour("net (g);date;time\n", dated, |t, w| cell(&t.replace(' ', ";"), w)), 0.05);
    near(per_hour("", dated, logger), 0.05);
    let days = ["27.02.2026", "28.02.2026", "01.03.2026", "02.03.2026", "03.03.2026", "04.03.2026"];
    near(per_hour("net (g);date\n", days, cell), 0.025);
    near(per_hour("net (g);hours\n", ["0", "0.5", "1", "1.5", "2", "2.5"], cell), 1.2);
}

#[test]
fn what_is_no_time_gives_no_trend_an_hour() {
    let cell = |time: &str, weight: f64| format!("{weight:.2};{time}");
    // Numbers of rounds under 'time', and times that some fills lack.
    assert_eq!(per_hour("net (g);time\n", ["1", "2", "3", "4", "5", "6"], cell), None);
    assert_eq!(per_hour("net (g);time\n", ["8:00", "9:00", "", "11:00", "12:00", "13:00"], cell), None);
    let text = "net;time\n250;03/04/2026 8:00\n251;03/05/2026 8:00\n252;03/06/2026 8:00\n";
    let said = Tool::minimal(40).typed(&["weights", "--target", "250 g", "--unit", "g"], text.as_bytes());
    let plain = said.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(plain.contains("The dates cannot be read for certain (day or month first?)"), "{}", said.out);
    assert!(!plain.contains("g an hour"), "{}", said.out);
}
