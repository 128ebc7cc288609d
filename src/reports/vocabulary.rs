//! The closed lists of the interchange contract. Add, never rename; `not_known` is a word of each.
use crate::base::words::words;

words! { pub enum Occasion { Run = "run", Yard = "yard", Hostling = "hostling", DailyInspection = "daily_inspection", InShop = "in_shop", NotKnown = "not_known", } }
words! { pub enum RunPosition { Lead = "lead", Trail = "trail", Single = "single", Dead = "dead", Distributed = "distributed", NotKnown = "not_known", } }
words! { pub enum Weather { Dry = "dry", Rain = "rain", Snow = "snow", BlowingSnow = "blowing_snow", Fog = "fog", HighWater = "high_water", Washed = "washed", NotKnown = "not_known", } }
words! {
    pub enum Throttle {
        EngineOff = "engine_off", Idle = "idle",
        Run1 = "run_1", Run2 = "run_2", Run3 = "run_3", Run4 = "run_4", Run5 = "run_5", Run6 = "run_6", Run7 = "run_7", Run8 = "run_8",
        Brake = "brake",
        Brake1 = "brake_1", Brake2 = "brake_2", Brake3 = "brake_3", Brake4 = "brake_4", Brake5 = "brake_5", Brake6 = "brake_6", Brake7 = "brake_7", Brake8 = "brake_8",
        NotKnown = "not_known",
    }
}
words! { pub enum AtHow { Clock = "clock", About = "about", NotKnown = "not_known", } }
words! { pub enum Signs { None = "none", Smell = "smell", Smoke = "smoke", Heat = "heat", Arcing = "arcing", Water = "water", NotLooked = "not_looked", NotKnown = "not_known", } }
words! { pub enum YesNo { Yes = "yes", No = "no", NotKnown = "not_known", } }

words! {
    /// On what ground somebody closed a circuit again. `examined` is by a qualified person.
    pub enum Basis { Examined = "examined", OverloadKnown = "overload_known", LookedNoSign = "looked_no_sign", StandingInstruction = "standing_instruction", ToldByShop = "told_by_shop", NotDetermined = "not_determined", NotKnown = "not_known", }
}
words! { pub enum ResetResult { Held = "held", TrippedAgain = "tripped_again", WouldNotLatch = "would_not_latch", NotKnown = "not_known", } }
words! { pub enum Left { On = "on", Off = "off", Tripped = "tripped", CutOut = "cut_out", NotKnown = "not_known", } }

words! { pub enum Mode { Motoring = "motoring", Braking = "braking", Idle = "idle", Cranking = "cranking", LoadTest = "load_test", NotKnown = "not_known", } }
words! { pub enum Circuit { HighVoltage = "high_voltage", LowVoltage = "low_voltage", NotKnown = "not_known", } }
words! { pub enum GroundReset { Itself = "itself", ByHand = "by_hand", NotReset = "not_reset", LockedOut = "locked_out", NotKnown = "not_known", } }
words! { pub enum After { LoadsAgain = "loads_again", Reduced = "reduced", Isolated = "isolated", ShutDown = "shut_down", NotKnown = "not_known", } }

words! { pub enum AuthorisedHow { InPerson = "in_person", Radio = "radio", Phone = "phone", Written = "written", StandingInstruction = "standing_instruction", NotKnown = "not_known", } }
words! { pub enum Purpose { InsulationTest = "insulation_test", LocatingGround = "locating_ground", Repair = "repair", ToKeepMoving = "to_keep_moving", Other = "other", NoneGiven = "none_given", NotKnown = "not_known", } }
words! { pub enum Protection { Lock = "lock", Tag = "tag", BlueSignal = "blue_signal", None = "none", NotLooked = "not_looked", NotKnown = "not_known", } }

words! { pub enum FuseResult { Good = "good", Blown = "blown", Missing = "missing", WrongOne = "wrong_one", Bridged = "bridged", NotKnown = "not_known", } }
words! { pub enum TestedWith { Meter = "meter", Lamp = "lamp", Indicator = "indicator", ByEye = "by_eye", NotKnown = "not_known", } }
words! { pub enum Handling { DeEnergised = "de_energised", InsulatedTool = "insulated_tool", EnergisedNoTool = "energised_no_tool", NotKnown = "not_known", } }
pub use crate::roster::schedule::FuseSpeed;

words! { pub enum TestCock { Clear = "clear", Water = "water", Fuel = "fuel", Oil = "oil", NotLooked = "not_looked", NotKnown = "not_known", } }
words! { pub enum Motors { Both = "both", Electric = "electric", Air = "air", NotKnown = "not_known", } }
words! {
    pub enum Outcome {
        Running = "running", NoResponse = "no_response", NoCrank = "no_crank", SlowCrank = "slow_crank", NoFire = "no_fire",
        StartedThenStopped = "started_then_stopped", StoppedByCrew = "stopped_by_crew", LowOil = "low_oil", LowWater = "low_water",
        Overspeed = "overspeed", CrankcaseDevice = "crankcase_device", FuelCutOff = "fuel_cut_off", WillNotTurn = "will_not_turn", NotKnown = "not_known",
    }
}
words! {
    pub enum ShutdownCause { Crew = "crew", LowOil = "low_oil", LowWater = "low_water", Overspeed = "overspeed", CrankcaseDevice = "crankcase_device", FuelCutOff = "fuel_cut_off", Electrical = "electrical", Other = "other", NotKnown = "not_known", }
}
words! { pub enum MayGoOn { Yes = "yes", Restricted = "restricted", No = "no", NotKnown = "not_known", } }
words! { pub enum Seen { On = "on", Off = "off", Tripped = "tripped", Open = "open", Closed = "closed", NotLooked = "not_looked", NotKnown = "not_known", } }
words! {
    /// What can be said of a seal besides its number.
    pub enum SealWord { Unnumbered = "unnumbered", Illegible = "illegible", Broken = "broken", Missing = "missing", None = "none", NotLooked = "not_looked", NotKnown = "not_known", }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reports::kinds::Kind;

    /// The contract is pinned here word by word: add, never rename. `not_known` goes with every list.
    #[test]
    fn the_words_of_the_contract() {
        let table: &[(String, &str)] = &[
            (Occasion::spellings(), "run yard hostling daily_inspection in_shop"),
            (RunPosition::spellings(), "lead trail single dead distributed"),
            (Weather::spellings(), "dry rain snow blowing_snow fog high_water washed"),
            (
                Throttle::spellings(),
                "engine_off idle run_1 run_2 run_3 run_4 run_5 run_6 run_7 run_8 brake brake_1 brake_2 brake_3 brake_4 brake_5 brake_6 brake_7 brake_8",
            ),
            (AtHow::spellings(), "clock about"),
            (Signs::spellings(), "none smell smoke heat arcing water not_looked"),
            (YesNo::spellings(), "yes no"),
            (
                Basis::spellings(),
                "examined overload_known looked_no_sign standing_instruction told_by_shop not_determined",
            ),
            (ResetResult::spellings(), "held tripped_again would_not_latch"),
            (Left::spellings(), "on off tripped cut_out"),
            (Mode::spellings(), "motoring braking idle cranking load_test"),
            (Circuit::spellings(), "high_voltage low_voltage"),
            (GroundReset::spellings(), "itself by_hand not_reset locked_out"),
            (After::spellings(), "loads_again reduced isolated shut_down"),
            (AuthorisedHow::spellings(), "in_person radio phone written standing_instruction"),
            (Purpose::spellings(), "insulation_test locating_ground repair to_keep_moving other none_given"),
            (Protection::spellings(), "lock tag blue_signal none not_looked"),
            (FuseResult::spellings(), "good blown missing wrong_one bridged"),
            (TestedWith::spellings(), "meter lamp indicator by_eye"),
            (Handling::spellings(), "de_energised insulated_tool energised_no_tool"),
            (FuseSpeed::spellings(), "slow normal fast"),
            (TestCock::spellings(), "clear water fuel oil not_looked"),
            (Motors::spellings(), "both electric air"),
            (
                Outcome::spellings(),
                "running no_response no_crank slow_crank no_fire started_then_stopped stopped_by_crew low_oil low_water overspeed crankcase_device fuel_cut_off will_not_turn",
            ),
            (
                ShutdownCause::spellings(),
                "crew low_oil low_water overspeed crankcase_device fuel_cut_off electrical other",
            ),
            (MayGoOn::spellings(), "yes restricted no"),
            (Seen::spellings(), "on off tripped open closed not_looked"),
            (SealWord::spellings(), "unnumbered illegible broken missing none not_looked"),
        ];
        for (spellings, words) in table {
            assert_eq!(*spellings, format!("{}, not_known", words.replace(' ', ", ")));
        }
    }

    #[test]
    fn the_fields_of_the_contract() {
        for (kind, fields) in [
            ("breaker_trip", "device resets left"),
            ("ground_relay", "device operations last_at mode circuit reset after motors_cut_out"),
            (
                "bypass",
                "device by authorised_by authorised_how authorised_at reference purpose engine_running power_taken protection seal_found closed_at closed_by seal_applied",
            ),
            ("fuse_check", "device result tested_with fitted replaced_by basis handling"),
            (
                "engine_start",
                "attempt after_long_shutdown test_cock_result motors battery_rest_v battery_cranking_v main_reservoir_psi outcome",
            ),
            ("shutdown", "cause water_drained warning_notice"),
            ("defect", "system text may_go_on restriction warning_notice"),
            ("position", "device seen moved_to by why reference seal"),
        ] {
            let own = Kind::parse(kind).map(Kind::own_fields).unwrap_or_default();
            assert_eq!(own.join(" "), fields, "{kind}");
        }
    }
}
