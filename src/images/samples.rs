//! From the decoder's samples to 8 bits a channel with the opacity apart, in the same memory.

/// Reduces 16-bit samples (native byte order) to 8 bits, rounding to the nearest: 65535 becomes 255.
pub(super) fn reduce_to_8_bits(bytes: &mut Vec<u8>) {
    let count = bytes.len() / 2;
    for i in 0..count {
        let wide = u32::from(u16::from_ne_bytes([bytes[2 * i], bytes[2 * i + 1]]));
        bytes[i] = ((wide + 128) / 257) as u8;
    }
    bytes.truncate(count);
    bytes.shrink_to_fit();
}

/// Takes the last of `C` channels out of `bytes`, where it is below 255 anywhere; drops it where not.
pub(super) fn take_alpha<const C: usize>(bytes: &mut Vec<u8>) -> Option<Vec<u8>> {
    let (pixels, _) = bytes.as_chunks::<C>();
    let opaque = pixels.iter().all(|pixel| pixel[C - 1] == 255);
    let alpha = (!opaque).then(|| pixels.iter().map(|pixel| pixel[C - 1]).collect());
    let count = pixels.len();
    for i in 0..count {
        bytes.copy_within(i * C..i * C + C - 1, i * (C - 1));
    }
    bytes.truncate(count * (C - 1));
    bytes.shrink_to_fit();
    alpha
}

/// Repeats every grey sample three times.
pub(super) fn grey_to_rgb(grey: &[u8]) -> Vec<u8> {
    let mut rgb = vec![0; grey.len() * 3];
    for (pixel, &value) in rgb.as_chunks_mut::<3>().0.iter_mut().zip(grey) {
        *pixel = [value; 3];
    }
    rgb
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sixteen_bits_are_rounded_to_the_nearest_level() {
        let wide: [u16; 6] = [0, 128, 129, 257, 65535 - 129, 65535];
        let mut bytes: Vec<u8> = wide.iter().flat_map(|v| v.to_ne_bytes()).collect();
        reduce_to_8_bits(&mut bytes);
        assert_eq!(bytes, [0, 0, 1, 1, 254, 255]);
    }

    #[test]
    fn alpha_is_taken_out_and_the_colours_close_up() {
        let mut bytes = vec![1, 2, 3, 255, 4, 5, 6, 9];
        assert_eq!(take_alpha::<4>(&mut bytes), Some(vec![255, 9]));
        assert_eq!(bytes, [1, 2, 3, 4, 5, 6]);
    }

    #[test]
    fn alpha_that_is_opaque_everywhere_is_dropped() {
        let mut bytes = vec![8, 255, 9, 255];
        assert_eq!(take_alpha::<2>(&mut bytes), None);
        assert_eq!(bytes, [8, 9]);
    }
}
