//! The tag of a non-complying unit: seven fields, of which none may be missing. The book keeps none of it.
use crate::base::text;

/// By the names of the form, in the order of the rule (49 CFR 229.9(a)(3), read in an older edition).
pub const FIELDS: [(&str, &str); 7] = [
    ("unit", "Locomotive number"),
    ("carrier", "Inspecting carrier"),
    ("inspected", "Inspection location and date"),
    ("defects", "Nature of each defect"),
    ("restrictions", "Movement restrictions, if any"),
    ("destination", "Destination"),
    ("determined_by", "Who determined it, and signs"),
];

/// By label, or by name: what is said.
type Fields = Vec<(&'static str, String)>;

/// What is printed, field by field; `Err`: a sentence for each field that is missing.
pub fn filled<'a>(value: impl Fn(&str) -> &'a str) -> Result<Fields, Fields> {
    let (mut all, mut missing) = (Vec::new(), Vec::new());
    for (name, label) in FIELDS {
        match text::tidy(value(name)) {
            Some(said) => all.push((label, said)),
            None if name == "restrictions" => {
                missing.push((name, "Write the restrictions, or 'none'.".to_owned()))
            }
            None => missing.push((name, format!("{label} is missing: a tag without it is not printed."))),
        }
    }
    if missing.is_empty() { Ok(all) } else { Err(missing) }
}
