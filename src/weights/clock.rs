//! When a fill was weighed: dates and times of day as printers, loggers and tables write them.
//!
//! A date that can be read two ways is decided by the other dates of the run or not at all.

/// A date as written: three numbers, which of them is the year not yet decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Day {
    parts: [i16; 3],
    /// The place of a year of four digits.
    year: Option<usize>,
    /// Parted by full stops, which only the day-first countries do.
    stops: bool,
}

impl Day {
    /// Three numbers parted twice by the same mark: two of one or two digits, a year of four or two.
    pub(super) fn of(token: &str) -> Option<Self> {
        let token = token.split(['T', 't']).next()?;
        ['-', '/', '.'].into_iter().find_map(|mark| {
            let texts: Vec<&str> = token.split(mark).collect();
            if texts.len() != 3 {
                return None;
            }
            let year = [0, 2].into_iter().find(|&at| texts[at].len() == 4);
            let number = |at: usize| {
                let text = texts[at];
                let fits = (1..=2).contains(&text.len()) || year == Some(at);
                (fits && text.bytes().all(|b| b.is_ascii_digit())).then(|| text.parse().ok()).flatten()
            };
            Some(Self { parts: [number(0)?, number(1)?, number(2)?], year, stops: mark == '.' })
        })
    }

    /// Days since 1970, the date read so.
    fn days(self, month_first: bool) -> Option<f64> {
        let [a, b, c] = self.parts;
        let (year, month, day) = match self.year {
            Some(0) => (a, b, c),
            Some(_) if month_first => (c, a, b),
            Some(_) => (c, b, a),
            None if self.stops => (2000 + c, b, a),
            None => return None,
        };
        let small = |n: i16| i8::try_from(n).ok();
        let date = jiff::civil::Date::new(year, small(month)?, small(day)?).ok()?;
        Some(date.duration_since(jiff::civil::date(1970, 1, 1)).as_secs() as f64 / 86_400.0)
    }
}

/// What stands beside a weight about when it was weighed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Stamp {
    pub(super) day: Option<Day>,
    /// Seconds: of the day, or from any start where a column counts them.
    pub(super) seconds: Option<f64>,
}

impl Stamp {
    /// The first date and the last time of day among these pieces.
    pub(super) fn of<'a>(tokens: impl Iterator<Item = &'a str>) -> Self {
        let mut stamp = Self::default();
        for token in tokens {
            stamp.day = stamp.day.or(Day::of(token));
            let half = |name: &str| token.eq_ignore_ascii_case(name);
            match (time_of_day(token), &mut stamp.seconds) {
                (Some(seconds), _) => stamp.seconds = Some(seconds),
                (None, Some(seconds)) if half("pm") && *seconds < 43_200.0 => *seconds += 43_200.0,
                (None, Some(seconds)) if half("am") && (43_200.0..46_800.0).contains(seconds) => {
                    *seconds -= 43_200.0;
                }
                _ => {}
            }
        }
        stamp
    }
}

/// The seconds of all fills; empty where not every fill has a time that can be told.
#[derive(Debug, PartialEq)]
pub(super) struct Times {
    pub(super) seconds: Vec<f64>,
    /// There are dates, and they cannot be read for certain.
    pub(super) unclear: bool,
}

/// Puts dates and times of a run together.
pub(super) fn times(stamps: &[Stamp]) -> Times {
    let none = |unclear| Times { seconds: Vec::new(), unclear };
    let days: Vec<Day> = stamps.iter().filter_map(|stamp| stamp.day).collect();
    let mut seconds: Vec<f64> = stamps.iter().filter_map(|stamp| stamp.seconds).collect();
    let timed = seconds.len() == stamps.len();
    if stamps.is_empty() || !timed && !seconds.is_empty() {
        return none(false);
    }
    let one_day = days.windows(2).all(|pair| pair[0] == pair[1]);
    if timed && (days.is_empty() || one_day && days.len() == stamps.len()) {
        if days.is_empty() {
            past_midnight(&mut seconds);
        }
        return Times { seconds, unclear: false };
    }
    if days.len() != stamps.len() || one_day {
        return none(false);
    }
    let Some(month_first) = month_first(&days) else { return none(true) };
    let dated: Option<Vec<f64>> = days.iter().map(|day| day.days(month_first)).collect();
    let Some(dated) = dated else { return none(true) };
    let second = |at: usize| dated[at] * 86_400.0 + seconds.get(at).copied().unwrap_or(0.0);
    Times { seconds: (0..dated.len()).map(second).collect(), unclear: false }
}

/// Whether dates with the year last begin with the month; `None` when they do not say.
fn month_first(days: &[Day]) -> Option<bool> {
    let year_last = |day: &&Day| day.year != Some(0);
    let day_first = days.iter().filter(year_last).any(|day| day.stops || day.parts[0] > 12);
    let month_first = days.iter().filter(year_last).any(|day| !day.stops && day.parts[1] > 12);
    match (day_first, month_first) {
        (true, true) => None,
        (false, false) => days.iter().all(|day| day.year == Some(0)).then_some(false),
        (_, month_first) => Some(month_first),
    }
}

/// Times of day that fall back by more than half a day have passed midnight.
fn past_midnight(times: &mut [f64]) {
    let mut days = 0.0;
    let mut last = f64::NEG_INFINITY;
    for time in times {
        if *time < last - 43_200.0 {
            days += 86_400.0;
        }
        last = *time;
        *time += days;
    }
}

/// `14:05`, `14:05:09`, in seconds; a distance from world time behind it, as in `14:05:09+01:00`, is taken off.
pub(super) fn time_of_day(token: &str) -> Option<f64> {
    let clock = token.rsplit(['T', 't']).next()?.trim_end_matches(['Z', 'z']);
    let (clock, zone) = match clock.find(['+', '-']).filter(|at| *at > 0) {
        Some(at) => (&clock[..at], &clock[at..]),
        None => (clock, ""),
    };
    let away = match zone.get(1..) {
        Some(zone_clock) => clock_seconds(zone_clock)?,
        None => 0.0,
    };
    let seconds = clock_seconds(clock)?;
    Some(if zone.starts_with('+') { seconds - away } else { seconds + away })
}

fn clock_seconds(clock: &str) -> Option<f64> {
    let fields: Vec<&str> = clock.split(':').collect();
    if !(2..=3).contains(&fields.len()) {
        return None;
    }
    let mut seconds = 0.0;
    for (at, field) in fields.iter().enumerate() {
        let value: f64 = field.parse().ok()?;
        let whole = at == 2 || field.len() <= 2;
        if !whole || !(0.0..if at == 0 { 24.0 } else { 61.0 }).contains(&value) {
            return None;
        }
        seconds += value * [3600.0, 60.0, 1.0][at];
    }
    Some(seconds)
}

/// Seconds of one step of a column that counts time, by its plain name: `hours`, `time (min)`, `time_s`.
pub(super) fn counted_in(name: &str) -> Option<f64> {
    let name = name.to_lowercase();
    let parts: Vec<&str> = name.split(|c: char| !c.is_alphanumeric()).filter(|p| !p.is_empty()).collect();
    let unit = match parts[..] {
        [unit] if unit.len() > 3 => unit,
        ["time" | "elapsed", unit] => unit,
        _ => return None,
    };
    match unit {
        "hours" | "hour" | "h" => Some(3600.0),
        "minutes" | "minute" | "min" => Some(60.0),
        "seconds" | "second" | "sec" | "s" => Some(1.0),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(lines: &[&str]) -> Times {
        times(&lines.iter().map(|line| Stamp::of(line.split_whitespace())).collect::<Vec<_>>())
    }

    /// Hours since the first.
    fn hours(lines: &[&str]) -> Vec<f64> {
        let all = seconds(lines).seconds;
        all.iter().map(|s| (s - all[0]) / 3600.0).collect()
    }

    #[test]
    fn dates_and_times_are_put_together() {
        assert_eq!(
            hours(&["2026-02-28 08:00", "2026-03-01 08:00:00", "2026-03-01T09:30:00Z"]),
            [0.0, 24.0, 25.5]
        );
        assert_eq!(hours(&["28.02.2026 08:00", "01.03.2026 08:00"]), [0.0, 24.0]);
        assert_eq!(hours(&["28.2.26 08:00", "1.3.26 08:00"]), [0.0, 24.0]);
        assert_eq!(hours(&["23:50", "0:10"]), [0.0, 1.0 / 3.0]);
        assert_eq!(hours(&["2026-03-01", "2026-03-03"]), [0.0, 48.0]);
        assert_eq!(hours(&["11:30 am", "12:30 PM", "1:30 pm"]), [0.0, 1.0, 2.0]);
        assert_eq!(hours(&["2026-03-01T09:00:00+02:00", "2026-03-01T09:00:00+01:00"]), [0.0, 1.0]);
        // The same day written so that nobody can tell which: the clock is enough.
        assert_eq!(hours(&["03/04/26 8:00", "03/04/26 9:00"]), [0.0, 1.0]);
    }

    #[test]
    fn a_date_that_reads_two_ways_is_decided_by_the_others_or_not_at_all() {
        assert_eq!(hours(&["03/12/2026 8:00", "03/13/2026 8:00"]), [0.0, 24.0]);
        assert_eq!(hours(&["12/03/2026 8:00", "13/03/2026 8:00"]), [0.0, 24.0]);
        for lines in [
            ["03/04/2026 8:00", "03/05/2026 8:00"],
            ["26-03-04 8:00", "26-03-05 8:00"],
            ["13/04/2026 8:00", "04/13/2026 8:00"],
        ] {
            assert_eq!(seconds(&lines), Times { seconds: vec![], unclear: true }, "{lines:?}");
        }
        assert_eq!(Day::of("1.234.567"), None);
        assert!(seconds(&["2026-02-30 8:00", "2026-03-01 8:00"]).seconds.is_empty());
    }

    #[test]
    fn times_that_some_fills_lack_are_no_times() {
        for lines in [&["8:00", ""][..], &["2026-03-01 8:00", "9:00"], &["25:00", "26:00"], &["", ""], &[]] {
            assert!(seconds(lines).seconds.is_empty(), "{lines:?}");
        }
    }

    #[test]
    fn a_column_that_counts_time_says_so_plainly() {
        assert_eq!(counted_in("Hours"), Some(3600.0));
        assert_eq!(counted_in("time (min)"), Some(60.0));
        assert_eq!(counted_in("time_s"), Some(1.0));
        for name in ["time", "h", "fill time s", "min", "settling seconds", ""] {
            assert_eq!(counted_in(name), None, "{name}");
        }
    }
}
