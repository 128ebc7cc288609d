//! A roster small enough to know by heart, for the tests of every room: one class, three units, six people.
use super::Csvs;

/// Class `T2` with units `QHB 1` to `QHB 3`. Crew ann and bob, shop sam, supervisors sue and max, administrator
/// ada. Sam may open cutouts of `T2` for all of 2026, granted by sue. On the schedule:
/// `BK` battery switch, `SF` start fuse (400 A, 250 V, slow, B), `LC` local control (fed by BK, no crew resets
/// stated), `TC1` a breaker with one crew reset in 24 h after 120 s (fed by LC), `HL` a breaker that may be
/// closed again after an overload (two in 24 h), `EC` must stay on running, `AL` safety device, `GRC` cutout,
/// `GR` ground relay.
pub fn small() -> Csvs {
    Csvs {
        people: PEOPLE.to_owned(),
        schedules: SCHEDULES.to_owned(),
        checks: CHECKS.to_owned(),
        units: UNITS.to_owned(),
        authorisations: AUTHORISATIONS.to_owned(),
    }
}

const PEOPLE: &str = "\
sign_in,name,role,craft
ann,Ann Example,crew,engineer
bob,Bob Example,crew,conductor
sam,Sam Example,shop,electrician
sue,Sue Example,supervisor,road foreman
max,Max Example,supervisor,rules officer
ada,Ada Example,administrator,office
";

const CHECKS: &str = "\
class,order,place,text,right,applies_when,device,prevents
T2,1,Left side,Battery switch,Closed,,BK,start
T2,2,Cab,Local control,On,start,LC,start lead
T2,3,Cab,Test cocks,Nothing but air,cold_start,,start
";

const UNITS: &str = "\
unit,class,in_service,home_shop
QHB 1,T2,2020-01-01,Quarrow
QHB 2,T2,2020-01-01,Quarrow
QHB 3,T2,2020-01-01,Vellmere
";

const AUTHORISATIONS: &str = "\
sign_in,classes,from,to,basis,granted_by
sam,T2,2026-01-01,2026-12-31,Course on ground protection,sue
";

// Written short; `schedules.csv` shows the wording that a railway would use.
const SCHEDULES: &str = "\
class,panel,panel_title,panel_where,rows,columns,tag,legend,kind,row,column,rating_a,rating_v,speed,body,feed,start_group,normal_lead,normal_trail,normal_dead,normal_shut_down,keep_on_running,keep_on_after_shutdown_min,crew_resets,crew_resets_hours,crew_reset_wait_s,overload_by_design,before_closing,after_closing,if_left_off,off_effect,restricts_off,ground_protection,safety_device,severity
T2,outside,,battery box,,,BK,Battery knife switch,switch,,,600,125,,,,yes,on,on,any,any,no,,,,,no,Everything off,Read the volts,Tag it,No battery,no_lead do_not_load hold,no,no,
T2,outside,,battery box,,,SF,Start fuse,fuse,,,400,250,slow,B,BK,yes,on,on,any,any,no,,0,,,no,Qualified people only,One start,Keep it running,No electric start,none,no,no,
T2,CP,Control panel,\"cab, rear wall\",2,3,LC,Local control,breaker,1,1,100,125,,,BK,yes,on,on,any,any,no,,,,,no,Look and smell first,Wait for the displays,Unit is dead,All control power,no_lead do_not_load,no,no,2
T2,CP,Control panel,\"cab, rear wall\",2,3,TC1,Inverter 1 control,breaker,1,2,15,125,,,LC,no,on,on,any,any,no,,1,24,120,no,Look and smell first,Load gently,Cut out inverter 1,Motor 1 does not pull,reduced_load,no,no,
T2,CP,Control panel,\"cab, rear wall\",2,3,HL,Headlight,breaker,1,3,35,125,,,LC,no,on,any,any,any,no,,2,24,60,yes,Look and smell first,Bright and dim,Do not lead,Headlight out,no_lead,no,no,
T2,CP,Control panel,\"cab, rear wall\",2,3,EC,Engine control comp.,breaker,2,1,25,125,,,LC,yes,on,on,any,any,yes,30,1,24,120,no,Look and smell first,Wait two minutes,Engine stays stopped,Engine stops,no_lead do_not_load,no,no,2
T2,CP,Control panel,\"cab, rear wall\",2,3,AL,Alerter,breaker,2,2,10,125,,,LC,no,on,any,any,any,no,,1,24,120,no,Look and smell first,Test it,Not to lead,Alerter dead,no_lead,no,yes,
T2,HP,High-voltage panel,\"cabinet, rear door\",1,2,GRC,Ground relay cutout,switch,1,1,,600,,,,no,on,on,on,on,no,,0,,,no,Leave it and call,New seal,Unit is held,Ground protection bypassed,hold,yes,no,
T2,HP,High-voltage panel,\"cabinet, rear door\",1,2,GR,Ground relay,relay,1,2,,600,,,,no,on,on,any,any,no,,2,24,120,no,Throttle in idle,Load gently,Isolate the unit,No high-voltage power,do_not_load,no,no,
";
