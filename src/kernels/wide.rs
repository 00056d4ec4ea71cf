//! Builds an inner loop twice: for any processor, and for one with AVX2; which one runs is decided at run time.
//!
//! Both give the same bytes: the compiler never joins a product and a sum into one rounding by itself.

/// Whether this processor has what the second build needs. The answer is cached by the standard library.
#[cfg(target_arch = "x86_64")]
pub(super) fn is_available() -> bool {
    is_x86_feature_detected!("avx2")
        && is_x86_feature_detected!("bmi2")
        && is_x86_feature_detected!("fma")
}

/// Defines a function whose body is compiled for the base processor and for AVX2.
macro_rules! built_twice {
    ($(#[$attribute:meta])* $visibility:vis fn $name:ident($($argument:ident: $type:ty),* $(,)?) $body:block) => {
        $(#[$attribute])*
        $visibility fn $name($($argument: $type),*) {
            #[inline(always)]
            fn plain($($argument: $type),*) $body

            #[cfg(target_arch = "x86_64")]
            #[target_feature(enable = "avx2,bmi2,fma")]
            fn wide($($argument: $type),*) {
                plain($($argument),*)
            }

            #[cfg(target_arch = "x86_64")]
            if $crate::kernels::wide::is_available() {
                // SAFETY: `wide` is a safe function but for the processor features it is compiled for, and
                // `is_available` has just found exactly these on the processor that runs this.
                return unsafe { wide($($argument),*) };
            }
            plain($($argument),*)
        }
    };
}
pub(in crate::kernels) use built_twice;
