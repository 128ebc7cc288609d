//! Taking a sentence apart by its words, and the numbers in it: what somebody with a pencil does first.

/// What stands in the places of `{}`; the rest has to be there word for word.
pub fn parts<'a>(sentence: &'a str, form: &str) -> Option<Vec<&'a str>> {
    let mut fixed = form.split("{}");
    let mut rest = sentence.strip_prefix(fixed.next()?)?;
    let fixed: Vec<&str> = fixed.collect();
    let mut found = Vec::new();
    for (place, words) in fixed.iter().enumerate() {
        let end = if place + 1 == fixed.len() {
            rest.len()
                .checked_sub(words.len())
                .filter(|end| rest.ends_with(words) && rest.is_char_boundary(*end))?
        } else {
            rest.find(words)?
        };
        found.push(&rest[..end]);
        rest = &rest[end + words.len()..];
    }
    Some(found)
}

pub type Told<T> = Result<T, String>;

pub fn number(text: &str) -> Told<f64> {
    text.trim().parse().map_err(|_| format!("no number: {text:?}"))
}

/// `5 trips`, of a thing with this singular and plural.
pub fn counted(text: &str, one: &str, many: &str) -> Told<i64> {
    let (n, what) = text.split_once(' ').ok_or_else(|| format!("no count: {text:?}"))?;
    let n: i64 = n.parse().map_err(|_| format!("no count: {text:?}"))?;
    let right = if n == 1 { one } else { many };
    if what == right { Ok(n) } else { Err(format!("{text:?} should say {right:?}")) }
}

pub fn service_days(text: &str) -> Told<i64> {
    counted(text, "service day", "service days")
}

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// `3 March 2026`, in days since 1970 (civil days, the Gregorian calendar).
pub fn date(text: &str) -> Told<i32> {
    let wrong = || format!("no date: {text:?}");
    let parts: Vec<&str> = text.split(' ').collect();
    let [day, month, year] = parts[..] else { return Err(wrong()) };
    let month = MONTHS.iter().position(|name| *name == month).ok_or_else(wrong)? as i32 + 1;
    let (day, year): (i32, i32) = (day.parse().map_err(|_| wrong())?, year.parse().map_err(|_| wrong())?);
    // Years that begin in March put the odd day at the end.
    let (year, month) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    Ok(365 * year + year.div_euclid(4) - year.div_euclid(100)
        + year.div_euclid(400)
        + (153 * month + 2) / 5
        + day
        - 719_469)
}

#[track_caller]
pub fn same<T: PartialEq + std::fmt::Debug>(what: &str, said: T, reckoned: T) -> Told<()> {
    if said == reckoned { Ok(()) } else { Err(format!("{what}: said {said:?}, reckoned {reckoned:?}")) }
}

/// A number told with so many digits behind the point.
pub fn rounded(what: &str, said: &str, digits: i32, reckoned: f64) -> Told<()> {
    let half = 0.5 * 10_f64.powi(-digits);
    let told = number(said)?;
    let shown = said.split_once('.').map_or(0, |(_, behind)| behind.len() as i32);
    same(&format!("digits of {what}"), shown, digits)?;
    if (told - reckoned).abs() <= half * (1.0 + 1e-6) {
        Ok(())
    } else {
        Err(format!("{what}: said {said}, reckoned {reckoned}"))
    }
}

/// `About 1 healthy unit in 760` against the chance reckoned again: two figures.
pub fn luck(said: &str, who: &str, chance: f64) -> Told<()> {
    let n = (1.0 / chance).max(1.0);
    if said == format!("Fewer than 1 {who} in a million") {
        return if n >= 0.999_999e6 { Ok(()) } else { Err(format!("{said}: reckoned 1 in {n}")) };
    }
    let told = has_luck(said, who)?;
    let unit = 10_f64.powf(n.log10().floor() - 1.0).max(1.0);
    let near = (told - n).abs() <= 0.5 * unit * (1.0 + 1e-6) && n < 1.000_001e6;
    if near { Ok(()) } else { Err(format!("{said}: reckoned 1 in {n}")) }
}

/// That it has the words, with a number that can be.
pub fn has_luck(said: &str, who: &str) -> Told<f64> {
    if said == format!("Fewer than 1 {who} in a million") {
        return Ok(1e6);
    }
    let found =
        parts(said, &format!("About 1 {who} in {{}}")).ok_or_else(|| format!("no luck figure: {said:?}"))?;
    number(found[0]).and_then(|n| if (1.0..1e6).contains(&n) { Ok(n) } else { Err(format!("luck of {n}")) })
}

#[test]
fn a_pencil_reads_sentences() {
    let found = parts("4 trips in 29 service days since 24 June 2026; x.", "{} in {} since {}; x.").unwrap();
    assert_eq!(found, ["4 trips", "29 service days", "24 June 2026"]);
    assert_eq!(parts("4 trips in 29 days", "{} of {} days"), None);
    assert_eq!(parts("4 trips in 29 days.", "{} in {} days"), None);
    assert_eq!(
        (date("1 January 1970"), date("3 March 2026"), date("29 February 2024")),
        (Ok(0), Ok(20_515), Ok(19_782))
    );
    assert!(counted("1 trips", "trip", "trips").is_err() && counted("2 trips", "trip", "trips") == Ok(2));
    assert!(rounded("x", "1.9", 1, 1.94).is_ok() && rounded("x", "1.9", 1, 1.96).is_err());
    assert!(luck("About 1 healthy unit in 760", "healthy unit", 1.0 / 763.0).is_ok());
    assert!(luck("About 1 healthy unit in 760", "healthy unit", 1.0 / 768.0).is_err());
    assert!(luck("Fewer than 1 healthy unit in a million", "healthy unit", 1e-5).is_err());
}
