//! Which file of `src` uses which: every path in code outside unit tests, taken to the file that defines what it names.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use syn::ext::IdentExt as _;
use syn::visit::{self, Visit};

/// A module by its names from the crate down; the crate itself is empty.
type Module = Vec<String>;
/// Files, and for each file that one uses a path that does.
pub type Graph = BTreeMap<String, BTreeMap<String, String>>;

/// Names lead through so many re-exports at most.
const DEPTH_MAX: usize = 12;

/// One name that a file brings in.
#[derive(Debug, Clone)]
struct Import {
    path: Module,
    name: String,
    shown: bool,
    all: bool,
}

/// A file, parsed.
#[derive(Debug, Default)]
struct File {
    imports: Vec<Import>,
    defines: BTreeSet<String>,
    /// Paths in its code, from the file's own module on.
    paths: BTreeSet<Module>,
}

/// The files below `folder` and what each uses; `sources` are their paths and texts.
pub fn graph(folder: &Path, sources: &[(std::path::PathBuf, String)]) -> Graph {
    let mut files: BTreeMap<Module, File> = BTreeMap::new();
    for (path, text) in sources {
        let inside = path.strip_prefix(folder).unwrap().with_extension("");
        let mut module: Module =
            inside.iter().map(|part| part.to_string_lossy().into_owned()).collect();
        if module == ["lib"] {
            module.clear();
        }
        let parsed = syn::parse_file(text).unwrap_or_else(|why| panic!("{path:?}: {why}"));
        let mut read = Reader::default();
        read.visit_file(&parsed);
        files.insert(module, read.file);
    }
    let house = House(files);
    house.0.keys().map(|module| (name(module), house.used_by(module))).collect()
}

fn name(module: &[String]) -> String {
    if module.is_empty() { "lib".to_owned() } else { module.join("/") }
}

/// Every group of files that use each other in a circle, the largest first, with the uses that make it.
pub fn circles(graph: &Graph) -> Vec<Vec<String>> {
    let reached: BTreeMap<&str, BTreeSet<&str>> =
        graph.keys().map(|file| (file.as_str(), reached_from(graph, file))).collect();
    let mut found: BTreeSet<Vec<String>> = BTreeSet::new();
    for (file, all) in &reached {
        if all.contains(file) {
            let together = all.iter().filter(|other| reached[*other].contains(file));
            found.insert(together.map(|other| (*other).to_owned()).collect());
        }
    }
    let mut found: Vec<Vec<String>> = found.into_iter().collect();
    found.sort_by_key(|circle| std::cmp::Reverse(circle.len()));
    found
}

fn reached_from<'a>(graph: &'a Graph, file: &str) -> BTreeSet<&'a str> {
    let mut found = BTreeSet::new();
    let mut open: Vec<&str> = graph[file].keys().map(String::as_str).collect();
    while let Some(next) = open.pop() {
        if found.insert(next) {
            open.extend(graph[next].keys().map(String::as_str));
        }
    }
    found
}

/// The files as they were read.
struct House(BTreeMap<Module, File>);

impl House {
    fn used_by(&self, module: &Module) -> BTreeMap<String, String> {
        let file = &self.0[module];
        let own = file.imports.iter().filter(|import| !import.shown).map(|import| &import.path);
        let mut found = BTreeMap::new();
        for path in own.chain(&file.paths) {
            if let Some(target) = self.file_of(module, path, 0).filter(|target| target != module) {
                found.entry(name(&target)).or_insert_with(|| path.join("::"));
            }
        }
        found
    }

    /// The file that defines what a path names as `module` says it; `None` for what is not ours.
    fn file_of(&self, module: &Module, path: &[String], depth: usize) -> Option<Module> {
        if depth > DEPTH_MAX {
            return None;
        }
        let (first, rest) = path.split_first()?;
        let mut base = module.clone();
        match first.as_str() {
            "crate" => self.below(Vec::new(), rest, depth),
            "self" => self.below(base, rest, depth),
            "super" => {
                base.pop()?;
                match rest.first().map(String::as_str) {
                    Some("super") => self.file_of(&base, rest, depth + 1),
                    _ => self.below(base, rest, depth),
                }
            }
            _ => {
                let child = [module.as_slice(), &path[..1]].concat();
                let file = &self.0[module];
                let brought = file.imports.iter().any(|import| import.name == *first);
                // A name alone is no module: values are called like them.
                let is_child = path.len() > 1 && self.0.contains_key(&child);
                let known = is_child || brought || file.defines.contains(first);
                if known {
                    self.below(base, path, depth)
                } else {
                    self.by_glob(module, path, depth)
                }
            }
        }
    }

    fn below(&self, mut at: Module, path: &[String], depth: usize) -> Option<Module> {
        let mut rest = path;
        while let Some((first, after)) = rest.split_first() {
            at.push(first.clone());
            if !self.0.contains_key(&at) {
                at.pop();
                break;
            }
            rest = after;
        }
        let Some((item, after)) = rest.split_first() else { return Some(at) };
        let file = self.0.get(&at)?;
        if file.defines.contains(item) {
            return Some(at);
        }
        if let Some(import) = file.imports.iter().find(|import| import.name == *item) {
            let whole = [import.path.as_slice(), after].concat();
            // What comes from elsewhere and is only passed on belongs to nobody here.
            return self.file_of(&at, &whole, depth + 1);
        }
        self.by_glob(&at, rest, depth).or(Some(at))
    }

    fn by_glob(&self, module: &Module, path: &[String], depth: usize) -> Option<Module> {
        let globs = self.0[module].imports.iter().filter(|import| import.all);
        globs
            .filter_map(|import| {
                let from = self.file_of(module, &import.path, depth + 1)?;
                let file = &self.0[&from];
                let has = file.defines.contains(&path[0])
                    || file.imports.iter().any(|import| import.name == path[0]);
                if has { self.below(from, path, depth + 1) } else { None }
            })
            .next()
    }
}

/// Reads one file; modules that stand inside it belong to it.
#[derive(Default)]
struct Reader {
    file: File,
    inside: Vec<String>,
}

impl Reader {
    fn note(&mut self, mut path: Module) {
        // `super` of a module inside the file is the file.
        let mut inside = self.inside.len();
        while inside > 0 && path.first().is_some_and(|first| first == "super") {
            path.remove(0);
            inside -= 1;
        }
        if !path.is_empty() {
            self.file.paths.insert(path);
        }
    }

    fn bring(&mut self, tree: &syn::UseTree, before: &mut Module, shown: bool) {
        match tree {
            syn::UseTree::Path(one) => {
                before.push(text(&one.ident));
                self.bring(&one.tree, before, shown);
                before.pop();
            }
            syn::UseTree::Group(group) => {
                for one in &group.items {
                    self.bring(one, before, shown);
                }
            }
            syn::UseTree::Name(one) => self.import(before, &one.ident, &one.ident, shown),
            syn::UseTree::Rename(one) => self.import(before, &one.ident, &one.rename, shown),
            syn::UseTree::Glob(_) => self.file.imports.push(Import {
                path: before.clone(),
                name: String::new(),
                shown,
                all: true,
            }),
        }
    }

    fn import(&mut self, before: &[String], item: &syn::Ident, name: &syn::Ident, shown: bool) {
        let mut path = before.to_vec();
        if item != "self" {
            path.push(text(item));
        }
        let name = if name == "self" { before.last().cloned() } else { Some(text(name)) };
        self.file.imports.push(Import { path, name: name.unwrap_or_default(), shown, all: false });
    }
}

fn text(ident: &syn::Ident) -> String {
    ident.unraw().to_string()
}

/// Code that is there in tests only.
fn is_test(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("cfg")
            && attribute.parse_args::<syn::Path>().is_ok_and(|condition| condition.is_ident("test"))
    })
}

fn item_name(item: &syn::Item) -> Option<&syn::Ident> {
    match item {
        syn::Item::Const(one) => Some(&one.ident),
        syn::Item::Enum(one) => Some(&one.ident),
        syn::Item::Fn(one) => Some(&one.sig.ident),
        syn::Item::Macro(one) => one.ident.as_ref(),
        syn::Item::Static(one) => Some(&one.ident),
        syn::Item::Struct(one) => Some(&one.ident),
        syn::Item::Trait(one) => Some(&one.ident),
        syn::Item::Type(one) => Some(&one.ident),
        syn::Item::Mod(one) => one.content.as_ref().map(|_| &one.ident),
        _ => None,
    }
}

impl<'a> Visit<'a> for Reader {
    fn visit_item(&mut self, item: &'a syn::Item) {
        let attributes = match item {
            syn::Item::Mod(one) => &one.attrs[..],
            syn::Item::Fn(one) => &one.attrs[..],
            syn::Item::Use(one) => &one.attrs[..],
            syn::Item::Impl(one) => &one.attrs[..],
            _ => &[],
        };
        if is_test(attributes) {
            return;
        }
        if let Some(ident) = item_name(item) {
            self.file.defines.insert(text(ident));
        }
        visit::visit_item(self, item);
    }

    fn visit_item_mod(&mut self, module: &'a syn::ItemMod) {
        if module.content.is_some() {
            self.inside.push(text(&module.ident));
            visit::visit_item_mod(self, module);
            self.inside.pop();
        }
    }

    fn visit_item_use(&mut self, item: &'a syn::ItemUse) {
        let shown = !matches!(item.vis, syn::Visibility::Inherited);
        self.bring(&item.tree, &mut Vec::new(), shown);
    }

    fn visit_visibility(&mut self, _: &'a syn::Visibility) {
        // How far a thing is seen is no use of it.
    }

    fn visit_path(&mut self, path: &'a syn::Path) {
        self.note(path.segments.iter().map(|segment| text(&segment.ident)).collect());
        visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, call: &'a syn::Macro) {
        let mut found = Vec::new();
        let _ = call.parse_body_with(|input: syn::parse::ParseStream<'_>| {
            paths_in(input.cursor(), &mut found);
            input.step(|cursor| {
                let mut rest = *cursor;
                while let Some((_, next)) = rest.token_tree() {
                    rest = next;
                }
                Ok(((), rest))
            })
        });
        found.into_iter().for_each(|path| self.note(path));
        visit::visit_macro(self, call);
    }
}

/// `a::b::c` wherever it stands among tokens.
fn paths_in(mut at: syn::buffer::Cursor<'_>, found: &mut Vec<Module>) {
    let mut path = Module::new();
    let mut colons = 0;
    while !at.eof() {
        if let Some((inside, _, _, after)) = at.any_group() {
            paths_in(inside, found);
            at = after;
        } else if let Some((ident, after)) = at.ident() {
            if colons != 2 {
                found.push(std::mem::take(&mut path));
            }
            path.push(text(&ident));
            (colons, at) = (0, after);
            continue;
        } else if let Some((':', after)) = at.punct().map(|(p, after)| (p.as_char(), after)) {
            (colons, at) = (colons + 1, after);
            continue;
        } else {
            let Some((_, after)) = at.token_tree() else { break };
            at = after;
        }
        found.push(std::mem::take(&mut path));
        colons = 0;
    }
    found.push(path);
    found.retain(|path| !path.is_empty());
}
