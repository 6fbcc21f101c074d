//! Closed cases make the book better, and too few of them no worse.

use crate::fleet::Fleet;

#[test]
fn what_cases_teach_brings_the_numbers_nearer_to_the_truth_and_few_of_them_do_no_harm() {
    let (mut gap, mut few, mut many, mut proposed) = (0.0, 0.0, 0.0, 0.0);
    for seed in 0..4 {
        let scores = Fleet::new(45, seed).scores(&[20, 400]);
        gap += scores[1].truth - scores[1].author;
        few += scores[0].learned - scores[0].author;
        many += scores[1].learned - scores[1].author;
        proposed += scores[1].proposed - scores[1].author;
    }
    assert!(gap > 0.1, "the author's numbers are off by something: {gap}");
    assert!(few > 0.0, "twenty cases do no harm on the mean: {few}");
    assert!(proposed > 0.3 * gap, "so do those numbers alone that would be proposed: {proposed} of {gap}");
    assert!(many > 0.5 * gap, "four hundred close at least half of the gap: {many} of {gap}");
}
