//! Where a figure comes from, and how sure that is: the marks of the standards notes, in words for the page.
use serde::{Deserialize, Serialize};

use crate::base::words::words;

words! {
    /// What the notes leave unconfirmed is not among these: it judges nothing.
    pub enum Sure {
        Confirmed = "confirmed", Older = "older_edition", SecondHand = "second_hand", Reckoned = "reckoned", TypedIn = "typed_in",
        Common = "common_practice",
    }
}

impl Sure {
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Confirmed => "read in the text itself",
            Self::Older => "read in an older edition than the one in force",
            Self::SecondHand => "told at second hand: the standard itself was not read",
            Self::Reckoned => "reckoned from such figures, printed nowhere",
            Self::TypedIn => "typed in here, on the word of whoever signed",
            Self::Common => "common practice, no source",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    pub what: String,
    pub sure: Sure,
}

impl Source {
    pub fn typed_in(what: &str) -> Self {
        Self { what: what.to_owned(), sure: Sure::TypedIn }
    }
}

macro_rules! sources {
    ($($name:ident = $sure:ident $what:literal;)*) => {$(
        pub fn $name() -> Source {
            Source { what: $what.to_owned(), sure: Sure::$sure }
        }
    )*};
}

sources! {
    ieee_minima_2013 = SecondHand "IEEE 43-2013, least resistance by winding, one minute, at 40 °C";
    ieee_minima_2000 = SecondHand "IEEE 43-2000, least resistance by winding, one minute, at 40 °C";
    kv_plus_one = SecondHand "IEEE 43, kV + 1 megohm for windings made before about 1970, at 40 °C";
    halving_10c = SecondHand "IEEE 43, half for every 10 °C up, base 40 °C";
    army_power = Confirmed "US Army TR0656 par. 2.31a, power circuit of a generator or traction motor, 1 megohm at 77 °F";
    army_in_service = Confirmed "TM 55-1279 par. 52c, power circuits placed in service, at least 1 megohm";
    army_control = Confirmed "US Army TR0656 par. 2.31a, control circuits of about 75 V";
    army_halving = Confirmed "US Army TR0656, direct-current motors, half for every 22 °F up, base 77 °F";
    mil_doubling = Confirmed "MIL-M-17413A, twice for every 15 °C down, base 25 °C";
    army_steady = Confirmed "US Army TR0656, read over 30 seconds or longer: constant or rising is sound, unsteady is dirt or moisture";
    polarization = SecondHand "IEEE 43, polarization index, 10 minutes over 1 minute: class A 1.5, classes B, F, H 2.0";
    polarization_silent = SecondHand "IEEE 43, the index may not be meaningful over 5,000 megohms at one minute; not for small random-wound machines";
    brittle = SecondHand "Trade articles: an index over 8 suggests dried, brittle insulation";
    cfr_229_91 = Confirmed "49 CFR 229.91(a): a motor or generator may not be shorted or grounded";
    band_instantaneous = SecondHand "NETA acceptance specification, adjustable instantaneous trip, 40 % above to 30 % below its setting";
    three_hundred = Confirmed "TM 5-683, why 300 %; the maker's document gives least and most times";
    gravity_f = Confirmed "TM 5-4210-230-14&P-1: 0.004 for every 10 °F from 80 °F, added above, subtracted below";
    gravity_c = Confirmed "A maker's manual: 0.0007 for every °C from 20 °C";
    hundred_points = Confirmed "TM 55-1279: 100 points below full charge, a starting failure may result, a charge should be given, the cause found";
    low_cell_40 = Confirmed "TM 55-1279: 40 points below the highest cell";
    low_cell_25 = Confirmed "TM 9-6140-200-14: more than 25 points between cells of a charged battery";
    low_cell_20 = Confirmed "TM 55-2210-224-12: more than 20 points between cells may indicate a dead cell";
    low_volts = Confirmed "TM 55-1279: 0.20 V below the average cell on charge";
    cut_over = Confirmed "TM 55-1279: quick recharge to 2.40 V a cell, then the finishing rate";
    hot_electrolyte = Confirmed "TM 55-1279: electrolyte under 110 °F";
    rested_volts = SecondHand "Trade table of rested volts and charge for batteries of which 1.265 at 80 °F is full; by the cell, reckoned";
    fuse_four = SecondHand "Navy electricity text: never more amperes, fewer volts or slower; the same style and size";
    fuse_tool = Confirmed "29 CFR 1910.335: insulated fuse handling equipment where the terminals are energized";
    tester = Confirmed "29 CFR 1910.333(b)(2)(iv): over 600 V the tester is checked immediately before and after";
    not_locked = Confirmed "29 CFR 1910.333(b)(1): de-energized but not locked or tagged is treated as energized";
    lock_removed = Confirmed "29 CFR 1910.333(b)(2)(v)(C): removed by who applied it; else absence ensured, and told before resuming";
    relay_checked = Confirmed "US Army TR0675 par. 2.16: the ground relay should be checked before the locomotive is operated";
}
