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
words! {
    /// How fast a fuse opens. The contract's example has `slow`; the trade knows three.
    pub enum FuseSpeed { Slow = "slow", Normal = "normal", Fast = "fast", NotKnown = "not_known", }
}

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
