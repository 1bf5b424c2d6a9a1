//! Figures as they are told: a number with what it was rounded by, read out of sentences.

use std::collections::BTreeMap;

use jiff::SignedDuration;

/// A figure as it is printed: the true one lies no further away than `within`.
#[derive(Debug, Clone, Copy)]
pub struct SaidFigure {
    pub value: f64,
    pub within: f64,
    /// Read off a page, and not reckoned: printed as finely, it is the same to the last digit.
    printed: bool,
}

impl SaidFigure {
    fn differs(self, other: Self) -> bool {
        let alike = self.printed && other.printed && (self.within - other.within).abs() < 1e-12;
        let apart = if alike { 0.0 } else { self.within + other.within };
        (self.value - other.value).abs() > apart + 1e-9
    }
}

/// Every place in which each quantity is told.
#[derive(Debug, Default)]
pub struct Quantities(BTreeMap<String, Vec<(String, SaidFigure)>>);

impl Quantities {
    /// Told in `place`; nothing, where nothing is told.
    pub fn told(&mut self, quantity: &str, place: &str, figure: Option<SaidFigure>) {
        let places = self.0.entry(quantity.to_owned()).or_default();
        places.extend(figure.map(|figure| (place.to_owned(), figure)));
    }

    /// The quantities that differ from place to place, each with what is told where.
    pub fn disagreements(&self) -> Vec<String> {
        let differ = |told: &[(String, SaidFigure)]| {
            let pairs = told.iter().flat_map(|a| told.iter().map(move |b| (a.1, b.1)));
            pairs.into_iter().any(|(a, b)| a.differs(b))
        };
        let told = |told: &[(String, SaidFigure)]| {
            let each = told
                .iter()
                .map(|(place, SaidFigure { value, within, .. })| format!("{place} {value} ± {within}"));
            each.collect::<Vec<_>>().join(", ")
        };
        let all = self.0.iter().filter(|(_, places)| differ(places));
        all.map(|(quantity, places)| format!("{quantity}: {}", told(places))).collect()
    }

    /// How many stand in more than one place, by the first word of their names.
    pub fn compared(&self) -> BTreeMap<&str, usize> {
        let mut kinds = BTreeMap::new();
        for (quantity, _) in self.0.iter().filter(|(_, places)| places.len() > 1) {
            *kinds.entry(quantity.split(':').next().unwrap_or_default()).or_default() += 1;
        }
        kinds
    }
}

/// What can be counted.
pub fn count(number: usize) -> SaidFigure {
    about(f64::from(u32::try_from(number).unwrap()), 0.0)
}

/// As exact as a computer has it, or as it was rounded on the way.
pub fn about(value: f64, within: f64) -> SaidFigure {
    SaidFigure { value, within, printed: false }
}

/// All figures of a text, in order.
pub fn figures(text: &str) -> Vec<SaidFigure> {
    let text = text.replace(['\u{200b}', '\u{a0}'], " ");
    let is_part = |letter: char| letter.is_ascii_digit() || letter == '.' || letter == '-';
    let tokens = text.split(|letter: char| !is_part(letter)).map(|token| token.trim_end_matches(['.', '-']));
    let figure = |token: &str| {
        let value = token.parse().ok()?;
        let decimals = token.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        let within = 0.5 * 10_f64.powi(-i32::try_from(decimals).ok()?);
        Some(SaidFigure { value, within, printed: true })
    };
    tokens.filter_map(figure).collect()
}

/// The last figure before a phrase: "7 refills, …" before " refill".
pub fn before(text: &str, phrase: &str) -> Option<SaidFigure> {
    let (head, _) = text.split_once(phrase)?;
    let last = head.rsplit([',', ';', ':', '(']).next()?;
    if last.trim() == "no" {
        return Some(count(0));
    }
    figures(last).pop()
}

/// The first figure after a phrase.
pub fn after(text: &str, phrase: &str) -> Option<SaidFigure> {
    figures(text.split_once(phrase)?.1).first().copied()
}

/// "97 %", "under 1 %", "over 99 %".
pub fn percent(text: &str) -> Option<SaidFigure> {
    let text = text.replace('\u{a0}', " ");
    match text.split(" %").next()? {
        "under 1" => Some(about(0.25, 0.25)),
        "over 99" => Some(about(99.75, 0.25)),
        share => figures(share).pop(),
    }
}

/// "5 h 28 min", "40 s", "3 days", in minutes.
pub fn minutes(text: &str) -> Option<SaidFigure> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let mut sum = None;
    let mut within = 0.5;
    for pair in words.windows(2) {
        let [number, unit] = pair else { continue };
        let Ok(number) = number.parse::<i64>() else { continue };
        let unit = unit.trim_end_matches(['.', ',', ';']);
        let length = match unit {
            "s" => SignedDuration::from_secs(number),
            "min" => SignedDuration::from_mins(number),
            "h" => SignedDuration::from_hours(number),
            "day" | "days" => SignedDuration::from_hours(24 * number),
            _ => continue,
        };
        if unit.starts_with("day") {
            within = 12.0 * 60.0;
        }
        sum = Some(sum.unwrap_or(0.0) + length.as_secs_f64() / 60.0);
    }
    Some(about(sum?, within))
}
