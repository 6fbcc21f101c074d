//! A network as XMLBIF 0.3, the interchange format of the Bayesian-network community (1998), which general-purpose libraries read.

use crate::belief::Plain;
use crate::view::network::Described;

/// The network as a text. Every number reads back to the last digit; the observed state of evidence is a property of its variable,
/// since the format has no place for evidence. No document type stands in it: some readers stop at one.
pub fn xmlbif(title: &str, plain: &Plain, described: &[Described]) -> String {
    let mut out = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<BIF VERSION=\"0.3\">\n<NETWORK>\n<NAME>{}</NAME>\n",
        escaped(title)
    );
    for (variable, described) in plain.variables.iter().zip(described) {
        out += &format!("<VARIABLE TYPE=\"nature\">\n  <NAME>{}</NAME>\n", variable.id);
        for state in &described.states {
            out += &format!("  <OUTCOME>{}</OUTCOME>\n", escaped(state));
        }
        for property in properties(described) {
            out += &format!("  <PROPERTY>{}</PROPERTY>\n", escaped(&property));
        }
        out += "</VARIABLE>\n";
    }
    for variable in &plain.variables {
        out += &format!("<DEFINITION>\n  <FOR>{}</FOR>\n", variable.id);
        for &parent in &variable.parents {
            out += &format!("  <GIVEN>{}</GIVEN>\n", plain.variables[parent].id);
        }
        let numbers: Vec<String> = variable.table.iter().map(|p| format!("{p:?}")).collect();
        out += &format!("  <TABLE>{}</TABLE>\n</DEFINITION>\n", numbers.join(" "));
    }
    out + "</NETWORK>\n</BIF>\n"
}

fn properties(described: &Described) -> Vec<String> {
    let name = described.name.iter().map(|name| format!("entry = {name}"));
    let observed = (described.kind == "evidence").then(|| "observed = given".to_owned());
    [format!("kind = {}", described.kind)].into_iter().chain(name).chain(observed).collect()
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
