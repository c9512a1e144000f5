//! The tree over a log against published hashes, against RFC 6962 written down a
//! second time in another way, and against the Python package `pymerkle`.

use chalkhand::domain::merkle::{Proofs, Tree, extends, includes, leaf};
use chalkhand::domain::{Fingerprint, Hash};
use proptest::prelude::*;

use crate::outside;

/// The eight leaves of certificate transparency's own tests, from memory.
const LEAVES: [&str; 8] = [
    "",
    "00",
    "10",
    "2021",
    "3031",
    "40414243",
    "5051525354555657",
    "606162636465666768696a6b6c6d6e6f",
];

/// The roots of the first one, two, … of them, from memory of the same tests.
const ROOTS: [&str; 8] = [
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
];

fn bytes(hex: &str) -> Vec<u8> {
    let digits: Vec<char> = hex.chars().collect();
    let pair = |pair: &[char]| u8::from_str_radix(&pair.iter().collect::<String>(), 16).unwrap();
    digits.chunks(2).map(pair).collect()
}

fn published() -> Tree {
    Tree::of(LEAVES.iter().map(|hex| leaf(&bytes(hex))).collect())
}

fn hash(hex: &str) -> Hash {
    hex.parse().unwrap()
}

#[test]
fn published_leaves_have_the_published_roots() {
    let tree = published();
    for (at, root) in ROOTS.iter().enumerate() {
        assert_eq!(tree.root(at as u64 + 1).unwrap().to_string(), *root);
    }
    // SHA-256 of nothing (FIPS 180-4 examples, from memory).
    let empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";
    assert_eq!(Tree::of(Vec::new()).root(0).unwrap().to_string(), empty);
    assert_eq!(tree.root(9), None);
}

/// Proofs of the same tests, from memory.
#[test]
fn published_proofs() {
    let tree = published();
    let first = [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ];
    assert_eq!(tree.inclusion(0, 8).unwrap(), first.map(hash));
    let second = ["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"];
    assert_eq!(tree.inclusion(2, 3).unwrap(), second.map(hash));
    let from_one = first;
    assert_eq!(tree.consistency(1, 8).unwrap(), from_one.map(hash));
    let from_six = [
        "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ];
    assert_eq!(tree.consistency(6, 8).unwrap(), from_six.map(hash));
}

/// RFC 6962 section 2.1 to the letter: lists of leaves, cut and hashed again.
mod again {
    use sha2::{Digest as _, Sha256};

    pub(super) type Sum = [u8; 32];

    fn sum(parts: &[&[u8]]) -> Sum {
        Sha256::digest(parts.concat()).into()
    }

    fn k(n: usize) -> usize {
        let mut k = 1;
        while 2 * k < n {
            k *= 2;
        }
        k
    }

    pub(super) fn mth(d: &[Vec<u8>]) -> Sum {
        match d {
            [] => sum(&[]),
            [one] => sum(&[&[0], one]),
            _ => {
                let (left, right) = d.split_at(k(d.len()));
                sum(&[&[1], &mth(left), &mth(right)])
            }
        }
    }

    pub(super) fn path(m: usize, d: &[Vec<u8>]) -> Vec<Sum> {
        if d.len() == 1 {
            return Vec::new();
        }
        let k = k(d.len());
        let (left, right) = d.split_at(k);
        let (mut proof, beside) =
            if m < k { (path(m, left), mth(right)) } else { (path(m - k, right), mth(left)) };
        proof.push(beside);
        proof
    }

    pub(super) fn subproof(m: usize, d: &[Vec<u8>], whole: bool) -> Vec<Sum> {
        if m == d.len() {
            return if whole { Vec::new() } else { vec![mth(d)] };
        }
        let k = k(d.len());
        let (left, right) = d.split_at(k);
        let (mut proof, beside) = if m <= k {
            (subproof(m, left, whole), mth(right))
        } else {
            (subproof(m - k, right, false), mth(left))
        };
        proof.push(beside);
        proof
    }
}

fn data(n: usize) -> Vec<Vec<u8>> {
    (0..n).map(|at| format!("leaf {at}").into_bytes()).collect()
}

fn sums(hashes: &[Hash]) -> Vec<again::Sum> {
    hashes.iter().map(|hash| *hash.bytes()).collect()
}

/// Every size up to 70 exhaustively.
#[test]
fn roots_and_proofs_are_those_of_the_rfc() {
    let data = data(70);
    let tree = Tree::of(data.iter().map(|d| leaf(d)).collect());
    for n in 0..=data.len() {
        assert_eq!(*tree.root(n as u64).unwrap().bytes(), again::mth(&data[..n]), "{n}");
        for m in 0..n {
            let proof = tree.inclusion(m as u64, n as u64).unwrap();
            assert_eq!(sums(&proof), again::path(m, &data[..n]), "{m} of {n}");
        }
        for m in 1..=n {
            let proof = tree.consistency(m as u64, n as u64).unwrap();
            assert_eq!(sums(&proof), again::subproof(m, &data[..n], true), "{m} to {n}");
        }
    }
}

/// Every entry of every log up to 300, and every pair of sizes.
#[test]
fn every_proof_holds_and_only_where_it_belongs() {
    let most = 300;
    let tree = Tree::of(data(300).iter().map(|d| leaf(d)).collect());
    let root = |n: u64| tree.root(n).unwrap();
    for n in 1..=most {
        for m in 0..n {
            let (proof, own) = (tree.inclusion(m, n).unwrap(), tree.leaf(m).unwrap());
            assert!(includes(&root(n), n, m, &own, &proof), "{m} of {n}");
            assert!(!includes(&root(n), n, (m + 1) % n, &own, &proof) || n == 1, "{m} of {n}");
            let other = tree.leaf((m + 1) % most).unwrap();
            assert!(!includes(&root(n), n, m, &other, &proof), "{m} of {n}");
        }
        for m in 0..=n {
            let proof = tree.consistency(m, n).unwrap();
            assert!(extends((m, &root(m)), (n, &root(n)), &proof), "{m} to {n}");
            if 0 < m && m < n {
                let (less, other) = (root(m - 1), root(n - 1));
                assert!(!extends((m, &less), (n, &root(n)), &proof), "{m} to {n}");
                assert!(!extends((m, &root(m)), (n, &other), &proof), "{m} to {n}");
                assert!(!extends((n, &root(n)), (m, &root(m)), &proof), "{n} to {m}");
            }
        }
    }
}

proptest! {
    /// A proof with one hash changed, left out or added does not hold.
    #[test]
    fn no_other_proof_holds(
        n in 2_u64..300, at in any::<prop::sample::Index>(), hit in any::<prop::sample::Index>(),
        how in 0..3,
    ) {
        let tree = Tree::of(data(300).iter().map(|d| leaf(d)).collect());
        let (m, root) = (at.index(usize::try_from(n).unwrap()) as u64, tree.root(n).unwrap());
        let spoil = |mut proof: Vec<Hash>| {
            let place = if proof.is_empty() { 0 } else { hit.index(proof.len()) };
            match how {
                0 if !proof.is_empty() => proof[place] = Hash::of(b"another"),
                1 if !proof.is_empty() => { proof.remove(place); }
                _ => proof.insert(place, Hash::of(b"another")),
            }
            proof
        };
        let proof = spoil(tree.inclusion(m, n).unwrap());
        prop_assert!(!includes(&root, n, m, &tree.leaf(m).unwrap(), &proof));
        if 0 < m {
            let proof = spoil(tree.consistency(m, n).unwrap());
            prop_assert!(!extends((m, &tree.root(m).unwrap()), (n, &root), &proof));
        }
    }
}

/// Roots and proofs by the Python package `pymerkle`, sizes 1 to 64.
#[test]
fn roots_and_proofs_are_those_of_another_program() {
    let Some(folder) = outside::folder("trees against Python pymerkle") else { return };
    let data = data(64);
    let lines: Vec<&str> = data.iter().map(|d| std::str::from_utf8(d).unwrap()).collect();
    let theirs = outside::run(&folder, "merkle.py", &lines.join("\n"));
    let tree = Tree::of(data.iter().map(|d| leaf(d)).collect());
    let mut seen = 0;
    for line in theirs.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        let number = |at: usize| words[at].parse::<u64>().unwrap();
        let theirs: Vec<Hash> = words[3..].iter().map(|hex| hash(hex)).collect();
        let ours = match words[0] {
            "root" => vec![tree.root(number(2)).unwrap()],
            _ => tree.inclusion(number(1) - 1, number(2)).unwrap(),
        };
        assert_eq!(ours, theirs, "{line}");
        seen += 1;
    }
    assert_eq!(seen, 64 + 64 * 65 / 2);
}

/// RFC 8037 appendix A.3: the thumbprint of its example key, whose `x` is of
/// appendix A.2; both from memory.
#[test]
fn the_rfcs_key_has_the_rfcs_thumbprint() {
    use chalkhand::domain::PublicKey;
    let key = PublicKey::of_x("11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo").unwrap();
    let print = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k";
    assert_eq!(key.fingerprint().to_string(), print);
    assert_eq!(print.parse::<Fingerprint>().unwrap(), key.fingerprint());
    for wrong in ["", "kPrK", "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4=", &print[1..]] {
        assert!(wrong.parse::<Fingerprint>().is_err(), "{wrong}");
    }
}

/// RFC 8037 appendix A.1 and A.4, from memory: its secret signs its example.
#[test]
fn the_rfcs_key_signs_as_the_rfc_does() {
    use chalkhand::domain::DeviceKey;
    let file = "{\"crv\":\"Ed25519\",\"d\":\"nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A\",\
                \"kty\":\"OKP\",\"x\":\"11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo\"}\n";
    let key = DeviceKey::of_secret_text(file).unwrap();
    assert_eq!(key.secret_text(), file);
    let told = format!("{key:?}");
    assert!(told.contains("kPrK_qmxVWaYVA9wwBF6"), "{told}");
    assert!(!told.contains("nWGxne") && !told.contains("157, 97"), "a secret is printed: {told}");
    let other = file.replace("11qYAYKx", "11qYAYKy");
    assert!(DeviceKey::of_secret_text(&other).is_none(), "the halves belong together");
}

/// One after another against the same root says the same as each alone, whether
/// they hold or not, in any order.
#[test]
fn proofs_one_after_another_say_what_each_says_alone() {
    let mut random = fastrand::Rng::with_seed(7);
    let (mut held, mut not) = (0, 0);
    for size in (1..=40).chain([64, 65, 100, 127]) {
        let leaves: Vec<Hash> = (0..size).map(|n: u64| leaf(&n.to_le_bytes())).collect();
        let tree = Tree::of(leaves.clone());
        let root = tree.root(size).unwrap();
        let mut proofs = Proofs::new(root, size);
        for turn in 0..400 {
            // In order first, as a record has them.
            let index = if turn < size { turn } else { random.u64(0..size) };
            let mut proof = tree.inclusion(index, size).unwrap();
            let (mut at, mut own) = (index, leaves[usize::try_from(index).unwrap()]);
            match random.u32(0..12) {
                0 => at = random.u64(0..size + 2),
                1 => own = leaf(&random.u64(..).to_le_bytes()),
                2 => drop(proof.pop()),
                3 => proof.push(root),
                4 if !proof.is_empty() => {
                    let spoiled = random.usize(..proof.len());
                    proof[spoiled] = leaf(b"spoiled");
                }
                // A part of the tree given out as a leaf.
                5 if !proof.is_empty() => own = proof.remove(0),
                _ => {}
            }
            let alone = includes(&root, size, at, &own, &proof);
            let found = proofs.include(at, &own, &proof);
            assert_eq!(found, alone, "leaf {at} of {size}, turn {turn}");
            assert_eq!(found, checked_by_hand(&root, size, at, &own, &proof), "{at} of {size}");
            if found { held += 1 } else { not += 1 }
        }
    }
    assert!(5_000 < held && 3_000 < not, "{held} held, {not} did not");
}

/// RFC 9162 section 2.1.3.2 written down step by step.
fn checked_by_hand(root: &Hash, size: u64, index: u64, own: &Hash, proof: &[Hash]) -> bool {
    if size <= index {
        return false;
    }
    let (mut f, mut s, mut r) = (index, size - 1, *own);
    for p in proof {
        if s == 0 {
            return false;
        }
        if f % 2 == 1 || f == s {
            r = chalkhand::domain::merkle::node(p, &r);
            while f % 2 == 0 && f != 0 {
                (f, s) = (f / 2, s / 2);
            }
        } else {
            r = chalkhand::domain::merkle::node(&r, p);
        }
        (f, s) = (f / 2, s / 2);
    }
    s == 0 && r == *root
}
