//! Makes the scripts of `static/` small for serving: comments and blanks go, names that are local to a script become
//! short, declarations that follow each other become one. What it exports keeps its names, and so does the top of a script that is no module. No expression is
//! rewritten. The other files are taken as they are.
use std::{env, error::Error, fs, path::Path};

use oxc_allocator::{Allocator, Vec};
use oxc_ast::ast::Statement;
use oxc_ast_visit::{VisitMut, walk_mut};
use oxc_codegen::{Codegen, CodegenOptions};
use oxc_mangler::Mangler;
use oxc_parser::Parser;
use oxc_span::SourceType;

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo::rerun-if-changed=static");
    let made = Path::new(&env::var("OUT_DIR")?).join("static");
    fs::create_dir_all(&made)?;
    for file in fs::read_dir("static")? {
        let file = file?.path();
        let to = made.join(file.file_name().unwrap_or_default());
        if file.extension().is_some_and(|ending| ending == "js") {
            let text = fs::read_to_string(&file)?;
            fs::write(to, small(&text).map_err(|why| format!("{}, {why}", file.display()))?)?;
        } else {
            fs::copy(&file, to)?;
        }
    }
    Ok(())
}

fn small(text: &str) -> Result<String, String> {
    let arena = Allocator::default();
    // A module is what imports or exports.
    let mut parsed = Parser::new(&arena, text, SourceType::unambiguous()).parse();
    if let Some(why) = parsed.diagnostics.first() {
        let at = why.labels.first().map_or(0, |label| label.offset());
        let line = 1 + (0..at).zip(text.bytes()).filter(|(_, byte)| *byte == b'\n').count();
        return Err(format!("line {line}: {why}"));
    }
    Join.visit_program(&mut parsed.program);
    let names = Mangler::new().build(&parsed.program);
    let code = Codegen::new()
        .with_options(CodegenOptions::minify())
        .with_scoping(Some(names.scoping))
        .with_private_member_mappings(Some(names.class_private_mappings))
        .build(&parsed.program)
        .code;
    Ok(code)
}

/// `const a = 1; const b = 2;` is `const a = 1, b = 2;`.
struct Join;

impl<'a> VisitMut<'a> for Join {
    fn visit_statements(&mut self, all: &mut Vec<'a, Statement<'a>>) {
        walk_mut::walk_statements(self, all);
        let mut place = 1;
        while place < all.len() {
            let (before, rest) = all.split_at_mut(place);
            match (before.last_mut(), rest.first_mut()) {
                (Some(Statement::VariableDeclaration(one)), Some(Statement::VariableDeclaration(next)))
                    if one.kind == next.kind =>
                {
                    one.declarations.append(&mut next.declarations);
                    all.remove(place);
                }
                _ => place += 1,
            }
        }
    }
}
