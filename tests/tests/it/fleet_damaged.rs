//! Files of the fleet, damaged in every way that chance finds: a message or success, never a panic. More runs:
//! `PROPTEST_CASES=10000 cargo test -p pagewise-tests --test it fleet_damaged`.

use std::sync::OnceLock;

use pagewise_judge::fleet::lines::{self, Header, Results};
use pagewise_judge::fleet::{self, Candidates, Shard, merge};
use pagewise_judge::stock::{Columns, Stock, columns, read};
use pagewise_judge::swap::Verdict;
use pagewise_part::card::Catalogue;
use pagewise_tests::damage::damages;
use proptest::prelude::*;

const LIST: &str = "part,card,quantity,unit_price,lead_time_days,state\n24LC256,,40,0.42,30,active\n\
    \"EE \"\"7\"\"\",24lc64,9000,0.2,,last buy\nRES,,1,1,1,obsolete\n";
const COLUMNS: &str = "currency = \"EUR\"\ndelimiter = \";\"\ndecimal_mark = \",\"\nlead_time_in = \"weeks\"\n\
    [columns]\npart = \"A\"\ncard = \"B\"\n[states]\nactive = [\"x\"]\n";

fn catalogue() -> &'static Catalogue {
    static CATALOGUE: OnceLock<Catalogue> = OnceLock::new();
    CATALOGUE.get_or_init(|| Catalogue::embedded().unwrap())
}

/// Results of three invented boards.
fn results() -> &'static str {
    static RESULTS: OnceLock<String> = OnceLock::new();
    RESULTS.get_or_init(|| {
        let files = fleet::invent::fleet(catalogue(), 3, 5);
        let boards = files.iter().map(|file| pagewise_judge::board::parse(&file.name, &file.text).unwrap()).collect();
        let names = ["24lc256".to_owned(), "24aa64".to_owned()];
        let jobs = fleet::jobs(catalogue(), boards, Candidates::Named(&names)).unwrap();
        let header = Header::new("00".into(), Shard::WHOLE, jobs.len(), Verdict::Reconfigure.into(), "EUR");
        let mut writer = lines::Writer::default();
        let mut text = writer.line(&header);
        fleet::judge_each(jobs, None, Verdict::Reconfigure.into(), &|| (), |board, _| text += &writer.line(&board));
        text
    })
}

/// The text with what chance did to it.
fn damaged(text: &'static str) -> impl Strategy<Value = Vec<u8>> {
    damages().prop_map(|damages| damages.iter().fold(text.as_bytes().to_vec(), |bytes, damage| damage.of(&bytes)))
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn damaged_stock_lists_are_read_or_refused(list in damaged(LIST)) {
        if let Ok(rows) = read::parse("list", &list, &Columns::default())
            && let Ok(stock) = Stock::of("list", "EUR", rows, catalogue())
        {
            for card in stock.cards() {
                let offer = stock.offer(card, Some(u32::MAX)).unwrap();
                // What was read is written and read again without a loss.
                let json = serde_json::to_string(&offer).unwrap();
                prop_assert_eq!(serde_json::from_str::<pagewise_judge::stock::Offer>(&json).unwrap(), offer);
            }
        }
    }

    #[test]
    fn damaged_column_files_are_read_or_refused(text in damaged(COLUMNS)) {
        let text = String::from_utf8_lossy(&text);
        if let Ok(read) = columns::parse("columns", &text) {
            let _ = read::parse("list", LIST.as_bytes(), &read);
        }
    }

    #[test]
    fn damaged_results_are_merged_or_refused(text in damaged(results())) {
        let read = |text: &[u8]| lines::parse("results", text);
        if let Ok(one) = read(&text) {
            prop_assert_eq!(&one, &read(results().as_bytes()).unwrap(), "whatever was changed was found out");
            // Whatever was accepted sums up, whatever it holds.
            let merged = merge::merge(vec![one]);
            if let Ok(merged) = merged {
                let _ = fleet::Summary::of(&merged.boards, merged.header.accepts());
            }
            let both: Result<Vec<Results>, _> = [text.as_slice(), results().as_bytes()].into_iter().map(read).collect();
            prop_assert!(merge::merge(both.unwrap()).is_err(), "a shard that is there twice");
        }
    }
}
