//! What the schedule says of a device, in sentences for whoever stands before it.
use crate::{
    base::text,
    roster::{Device, schedule::Restriction},
};

#[derive(Clone, Debug, Default)]
pub struct DeviceFacts {
    pub tag: String,
    pub legend: String,
    pub lines: Vec<Fact>,
}

#[derive(Clone, Debug)]
pub struct Fact {
    pub name: &'static str,
    pub says: String,
}

impl DeviceFacts {
    pub fn of(device: &Device) -> Self {
        let rating = super::panel::rating(device);
        let all = [
            ("Rating", (!rating.is_empty()).then_some(rating)),
            ("Fuse", fuse(device)),
            ("Fed by", device.feed.as_ref().map(ToString::to_string)),
            ("Off, the unit loses", device.off_effect.clone()),
            ("Off, the unit", Some(restrictions(&device.restricts_off)).filter(|r| !r.is_empty())),
            ("A crew may close it", Some(resets(device))),
            ("Before closing", device.before_closing.clone()),
            ("After closing", device.after_closing.clone()),
            ("If it is left off", device.if_left_off.clone()),
            (
                "While running",
                device.keep_on_running.then(|| "must stay on while the engine runs".to_owned()),
            ),
        ];
        let lines = all.into_iter().filter_map(|(name, says)| says.map(|says| Fact { name, says }));
        Self { tag: device.tag.to_string(), legend: device.legend.clone(), lines: lines.collect() }
    }
}

fn fuse(device: &Device) -> Option<String> {
    let speed = device.speed.map(|s| s.to_string());
    let body = device.body.as_ref().map(|b| format!("body {b}"));
    let parts: Vec<_> = [speed, body].into_iter().flatten().collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// Blank is never permission.
fn resets(device: &Device) -> String {
    let allowed = device.crew_resets;
    match allowed.times {
        None => "the schedule does not say: ask".to_owned(),
        Some(0) => "no, shop only".to_owned(),
        Some(times) => {
            let mut says = text::count(times.into(), "time", "times");
            if let Some(hours) = allowed.hours {
                says.push_str(&format!(" in {hours} h"));
            }
            if let Some(wait) = allowed.wait_s.filter(|s| *s > 0) {
                says.push_str(&format!(", after waiting {}", wait_in_words(wait)));
            }
            says
        }
    }
}

fn wait_in_words(seconds: u32) -> String {
    if seconds.is_multiple_of(60) { format!("{} min", seconds / 60) } else { format!("{seconds} s") }
}

/// `must not lead; reduced load`; nothing where the schedule states nothing.
pub fn restrictions(list: &[Restriction]) -> String {
    let say = |r: &Restriction| match r {
        Restriction::NoLead => "must not lead",
        Restriction::DoNotLoad => "must not load",
        Restriction::ReducedLoad => "pulls with reduced load",
        Restriction::NoDynamicBrake => "has no dynamic brake",
        Restriction::ShutDown => "must be shut down",
        Restriction::Hold => "must be held",
        Restriction::None => "is not restricted",
    };
    list.iter().map(say).collect::<Vec<_>>().join("; ")
}
