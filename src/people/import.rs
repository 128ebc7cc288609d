//! People and authorisations from lists. Pure: bytes in, rows and rejects out.
use std::collections::BTreeSet;

use super::{People, Role, authorisation::Scope, permit::Act, person::sign_in};
use crate::base::{
    ClassName, SignIn,
    table::{Cells, Import, Table, Unusable},
    text,
    zone::Day,
};

pub const PEOPLE_COLUMNS: &[&str] = &["sign_in", "name", "role", "craft"];
pub const AUTHORISATION_COLUMNS: &[&str] = &["sign_in", "classes", "from", "to", "basis", "granted_by"];

/// Whether the importer may add somebody of this role is for the desk to say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PersonRow {
    pub line: u64,
    pub sign_in: SignIn,
    pub name: String,
    pub role: Role,
    pub craft: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AuthorisationRow {
    pub line: u64,
    pub person: SignIn,
    pub scope: Scope,
    /// First and last day, inclusive, in the railway's zone.
    pub from: Day,
    pub to: Option<Day>,
    pub basis: Option<String>,
    pub granted_by: SignIn,
}

pub fn people(bytes: &[u8]) -> Result<Import<PersonRow>, Unusable> {
    let table = Table::read(bytes, PEOPLE_COLUMNS, &["sign_in", "name", "role"])?;
    let mut seen = BTreeSet::new();
    Ok(table.import(|cells| {
        let row = person(cells)?;
        if !seen.insert(row.sign_in.clone()) {
            return Err(format!(
                "sign_in {} is in this file already, further up. No two people can have one name.",
                row.sign_in
            ));
        }
        Ok(row)
    }))
}

fn person(cells: Cells) -> Result<PersonRow, String> {
    let role = cells.word("role", Role::parse, &Role::spellings())?;
    Ok(PersonRow {
        line: cells.row.line,
        sign_in: name(cells, "sign_in")?,
        name: cells.text("name")?.ok_or("name is blank. Write the name as it is to be shown.")?,
        role: role.ok_or_else(|| format!("role is blank. It can be: {}.", Role::spellings()))?,
        craft: cells.text("craft")?,
    })
}

fn name(cells: Cells, column: &str) -> Result<SignIn, String> {
    let typed = cells.needed(column)?;
    sign_in(typed).ok_or_else(|| {
        format!(
            "{column} is {}. A sign-in name has 2 to 40 letters, digits, dots or dashes, and no spaces.",
            text::quoted(typed)
        )
    })
}

/// Against the people and classes of the book, so import those first. `has` says which classes it has.
pub fn authorisations(
    bytes: &[u8],
    people: &People,
    has: impl Fn(&ClassName) -> bool,
) -> Result<Import<AuthorisationRow>, Unusable> {
    let table = Table::read(bytes, AUTHORISATION_COLUMNS, &["sign_in", "classes", "from", "granted_by"])?;
    Ok(table.import(|cells| {
        let row = authorisation(cells)?;
        grantable(&row.person, &row.granted_by, people)?;
        if let Scope::Classes(classes) = &row.scope
            && let Some(unknown) = classes.iter().find(|class| !has(class))
        {
            return Err(format!("There is no class {unknown} yet: import its schedule first."));
        }
        Ok(row)
    }))
}

fn authorisation(cells: Cells) -> Result<AuthorisationRow, String> {
    cells.needed("from")?;
    let from = cells.day("from")?.ok_or("from is blank. Fill it in.")?;
    let to = cells.day("to")?;
    if let Some(to) = to.filter(|to| *to < from) {
        return Err(format!("to is {to}, before from ({from}). Check both days."));
    }
    Ok(AuthorisationRow {
        line: cells.row.line,
        person: name(cells, "sign_in")?,
        scope: scope(cells.needed("classes")?)?,
        from,
        to,
        basis: cells.text("basis")?,
        granted_by: name(cells, "granted_by")?,
    })
}

/// Classes parted by spaces, `*` for all.
pub fn scope(typed: &str) -> Result<Scope, String> {
    let mut classes: Vec<&str> = typed.split_whitespace().collect();
    classes.sort_unstable();
    classes.dedup();
    match classes.as_slice() {
        [] => Err("classes is blank. List the classes, or write * for all.".to_owned()),
        ["*"] => Ok(Scope::All),
        all if all.contains(&"*") => {
            Err("classes has * and others. * is all of them: write it alone.".to_owned())
        }
        all if all.iter().any(|class| class.contains([',', ';'])) => {
            Err("classes must be parted by spaces, not by commas.".to_owned())
        }
        all => Ok(Scope::Classes(all.iter().map(|class| ClassName::from(*class)).collect())),
    }
}

/// Whether one may grant the other a right; also for the page that grants one.
pub fn grantable(person: &SignIn, granted_by: &SignIn, people: &People) -> Result<(), String> {
    if person == granted_by {
        return Err(format!("granted_by is {person} too. Nobody grants a right to themselves."));
    }
    let nobody = |name: &SignIn| {
        let likely = text::nearest(name.as_str(), people.persons.keys().map(SignIn::as_str));
        let likely = likely.map(|name| format!(" Did you mean {name}?")).unwrap_or_default();
        format!("Nobody has the sign-in name {name}.{likely} Import people first.")
    };
    people.person(person).ok_or_else(|| nobody(person))?;
    let grantor = people.person(granted_by).ok_or_else(|| nobody(granted_by))?;
    // By the role, not by a permit: who has left may have granted it while they were here.
    if Act::GrantAuthorisation.roles().contains(&grantor.role) {
        Ok(())
    } else {
        Err(format!("{granted_by} has the role {}. Only a supervisor grants authorisations.", grantor.role))
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::{base::Instant, people::Person};

    fn book() -> People {
        let person = |(name, role): (&str, Role)| {
            let sign_in = SignIn::from(name);
            (
                sign_in.clone(),
                Arc::new(Person {
                    sign_in,
                    role,
                    added_at: Instant(0),
                    active: true,
                    last: Default::default(),
                }),
            )
        };
        let all = [("n.okafor", Role::Crew), ("a.lind", Role::Shop), ("m.ruiz", Role::Supervisor)];
        People { persons: all.map(person).into(), authorisations: Vec::new() }
    }

    #[test]
    fn people_are_read() {
        let file =
            "name,sign_in,role,craft\nNaomi Okafor, N.Okafor ,Crew,engineer\n\"Lind, Ada\",a.lind,shop,\n";
        let import = people(file.as_bytes()).unwrap();
        assert_eq!(import.rejects, []);
        let want = PersonRow {
            line: 2,
            sign_in: SignIn::from("n.okafor"),
            name: "Naomi Okafor".to_owned(),
            role: Role::Crew,
            craft: Some("engineer".to_owned()),
        };
        assert_eq!(import.good[0], want);
        assert_eq!((import.good[1].name.as_str(), &import.good[1].craft), ("Lind, Ada", &None));
    }

    #[test]
    fn every_bad_person_has_a_reason() {
        for (row, part) in [
            (",Ann,crew,", "sign_in is blank"),
            ("two words,Ann,crew,", "no spaces"),
            ("not_known,Ann,crew,", "A sign-in name"),
            ("ann,,crew,", "name is blank"),
            ("ann,Ann,,", "role is blank"),
            ("ann,Ann,supervisr,", "Did you mean supervisor?"),
            ("N.OKAFOR,Ann,crew,", "already, further up"),
            ("ann,Ann,crew,engineer,tall", "5 cells"),
        ] {
            let file = format!("sign_in,name,role,craft\nn.okafor,N,crew,\n{row}\n");
            let import = people(file.as_bytes()).unwrap();
            assert_eq!((import.good.len(), import.rejects.len()), (1, 1), "{row}");
            let reject = &import.rejects[0];
            assert!(reject.reason.contains(part), "{}", reject.reason);
            assert_eq!((reject.line, reject.row.as_str()), (3, row));
        }
    }

    #[test]
    fn authorisations_are_read() {
        let file = "sign_in,classes,from,to,basis,granted_by\na.lind,E8 E7 E8,2026-01-01,2026-12-31,course 12,m.ruiz\nn.okafor,*,2026-01-01,,,M.Ruiz\n";
        let import = authorisations(file.as_bytes(), &book(), |class| class.as_str() != "QZ9").unwrap();
        assert_eq!(import.rejects, []);
        let classes = Scope::Classes(vec![ClassName::from("E7"), ClassName::from("E8")]);
        assert_eq!(import.good[0].scope, classes);
        assert_eq!((&import.good[1].scope, import.good[1].to), (&Scope::All, None));
    }

    #[test]
    fn every_bad_authorisation_has_a_reason() {
        for (row, part) in [
            ("a.lind,,2026-01-01,,,m.ruiz", "classes is blank"),
            ("a.lind,E8 QZ9,2026-01-01,,,m.ruiz", "There is no class QZ9 yet"),
            ("a.lind,* E8,2026-01-01,,,m.ruiz", "alone"),
            ("a.lind,E8;E9,2026-01-01,,,m.ruiz", "parted by spaces"),
            ("a.lind,*,,,,m.ruiz", "from is blank"),
            ("a.lind,*,1/2/2026,,,m.ruiz", "Write the day as"),
            ("a.lind,*,2026-02-30,,,m.ruiz", "Write the day as"),
            ("a.lind,*,2026-01-01T05:00,,,m.ruiz", "Write the day as"),
            ("a.lind,*,0026-01-01,,,m.ruiz", "Write the day as"),
            ("a.lind,*,2026-01-02,2026-01-01,,m.ruiz", "before from"),
            ("a.lind,*,2026-01-01,,,", "granted_by is blank"),
            ("m.ruiz,*,2026-01-01,,,m.ruiz", "themselves"),
            ("a.lind,*,2026-01-01,,,n.okafor", "Only a supervisor"),
            ("a.lnd,*,2026-01-01,,,m.ruiz", "Did you mean a.lind?"),
            ("a.lind,*,2026-01-01,,,x.y", "Nobody has the sign-in name x.y."),
        ] {
            let file = format!("sign_in,classes,from,to,basis,granted_by\n{row}\n");
            let import = authorisations(file.as_bytes(), &book(), |class| class.as_str() != "QZ9").unwrap();
            assert_eq!((import.good.len(), import.rejects.len()), (0, 1), "{row}");
            assert!(import.rejects[0].reason.contains(part), "{}", import.rejects[0].reason);
        }
    }
}
