//! Errors over several results as one page that needs nothing beside itself.
use super::{data_address::png_address, head, tables::trend_table};
use crate::report::{trend::Trend, wording::clean};
use maud::{DOCTYPE, html};

/// The page; `chart` is the chart as PNG.
pub fn trend_page(trend: &Trend, chart: &[u8]) -> String {
    let newest = trend
        .results
        .last()
        .map_or_else(String::new, |name| clean(name));
    let page = html! {
        (DOCTYPE) "\n"
        html lang="en" {
            (head("Errors over several results")) "\n"
            body {
                header {
                    h1 { "Errors over " (trend.results.len()) " results" }
                    p.soft {
                        "The newest: " (newest) " · ± figures are 95 % intervals · \"change\" is from the first to the last"
                    }
                } "\n"
                main {
                    section {
                        div.scroll role="region" aria-label="Chart" tabindex="0" {
                            img.chart src=(png_address(chart)) alt="Errors over the results; all of it stands in the table";
                        }
                    } "\n"
                    section { (trend_table(trend)) }
                } "\n"
            }
        }
        "\n"
    };
    page.into_string()
}
