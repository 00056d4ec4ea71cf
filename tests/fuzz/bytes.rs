//! Changes of bytes that know nothing of what the bytes mean.
use crate::random::Random;

/// Numbers at which sizes and offsets go wrong.
const EDGES: [u32; 12] = [
    0,
    1,
    2,
    7,
    0x7f,
    0x80,
    0xff,
    0x7fff,
    0xffff,
    0x1_0000,
    0x7fff_ffff,
    0xffff_ffff,
];
/// No input grows beyond.
const MOST_BYTES: usize = 1 << 20;

/// One input of the corpus with one to eight changes.
pub fn mutated(random: &mut Random, corpus: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = random.pick(corpus).clone();
    for _ in 0..=random.below(8) {
        change(random, &mut bytes, corpus);
    }
    bytes
}

fn change(random: &mut Random, bytes: &mut Vec<u8>, corpus: &[Vec<u8>]) {
    let at = random.below(bytes.len());
    let length = {
        let most = random.size(10);
        1 + random.below(most)
    };
    let end = (at + length).min(bytes.len());
    match random.below(9) {
        0 if !bytes.is_empty() => bytes[at] ^= 1 << random.below(8),
        1 if !bytes.is_empty() => bytes[at] = random.below(256) as u8,
        2 => overwrite_number(random, bytes, at),
        3 => drop(bytes.drain(at..end)),
        4 if bytes.len() < MOST_BYTES => {
            let part = bytes[at..end].to_vec();
            for _ in 0..=random.below(16) {
                bytes.splice(at..at, part.iter().copied());
            }
        }
        5 => bytes.truncate(at),
        6 => {
            let other = random.pick(corpus);
            let from = random.below(other.len());
            let to = (from + length).min(other.len());
            let end = if random.one_in(2) { end } else { at };
            bytes.splice(at..end, other[from..to].iter().copied());
        }
        7 => {
            // The first half of one, the second of another.
            let other = random.pick(corpus);
            bytes.truncate(at);
            bytes.extend(&other[at.min(other.len())..]);
        }
        _ => {
            let value = *random.pick(&[0, 0x20, 0x41, 0xff]);
            bytes[at..end].fill(value);
        }
    }
}

/// A number of 16 or 32 bits, in either order, near the start as a rule: there the headers are.
fn overwrite_number(random: &mut Random, bytes: &mut [u8], at: usize) {
    let at = if random.one_in(2) {
        at
    } else {
        at.min(random.below(64))
    };
    let value = *random.pick(&EDGES);
    let wide = [value.to_be_bytes(), value.to_le_bytes()][random.below(2)];
    let short = [(value as u16).to_be_bytes(), (value as u16).to_le_bytes()][random.below(2)];
    let number: &[u8] = if random.one_in(2) { &wide } else { &short };
    for (byte, new) in bytes.iter_mut().skip(at).zip(number) {
        *byte = *new;
    }
}
