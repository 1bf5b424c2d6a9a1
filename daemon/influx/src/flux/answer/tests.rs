//! Answers as the specification allows them, and answers that it doesn't.

use proptest::prelude::*;

use super::*;

fn rows(answer: &str) -> Result<Vec<AnswerRow>, BadAnswer> {
    Rows::new(answer.as_bytes()).collect()
}

fn error(answer: &str) -> String {
    rows(answer).unwrap_err().to_string()
}

/// Two tables of one shape, in the form of the specification's own example; values invented.
const PLAIN: &str = "#datatype,string,long,dateTime:RFC3339,string,double,long,boolean\r\n\
                     #group,false,false,false,true,false,false,false\r\n\
                     #default,_result,,,,,,\r\n\
                     ,result,table,_time,sensor,value,flag,in_use\r\n\
                     ,,0,2027-04-20T14:00:00Z,head-ntu,66.25,1,true\r\n\
                     ,,0,2027-04-20T14:00:30.5Z,head-ntu,-0.000001,4,false\r\n\
                     ,,1,2027-04-20T14:00:00.123456789Z,t1-ntu,1e300,,\r\n\r\n";

#[test]
fn each_cell_comes_back_by_its_name_and_type() {
    let rows = rows(PLAIN).unwrap();
    let values: Vec<f64> = rows.iter().map(|row| row.need("value").unwrap()).collect();
    assert_eq!(values, [66.25, -0.000_001, 1e300]);
    let flags: Vec<Option<i64>> = rows.iter().map(|row| row.find("flag").unwrap()).collect();
    assert_eq!(flags, [Some(1), Some(4), None]);
    let in_use: Vec<Option<bool>> = rows.iter().map(|row| row.find("in_use").unwrap()).collect();
    assert_eq!(in_use, [Some(true), Some(false), None]);
    let at: Vec<Timestamp> = rows.iter().map(|row| row.need("_time").unwrap()).collect();
    assert_eq!(at[1].as_millisecond() - at[0].as_millisecond(), 30_500);
    assert_eq!(at[2].as_nanosecond() % 1_000_000_000, 123_456_789);
    assert_eq!(rows[2].need::<String>("sensor").unwrap(), "t1-ntu");
    assert_eq!(rows[0].need::<String>("result").unwrap(), "_result", "the default stands for an empty cell");
}

#[test]
fn a_column_that_a_table_lacks_is_null_and_the_order_of_columns_is_free() {
    let answer = "#datatype,double,string,long\n#group,false,true,false\n#default,,_result,\n\
                  ,value,result,table\n,1.5,,0\n\n\
                  #default,_result,,\n#datatype,string,long,long\n\
                  ,result,table,flag\n,,1,9\n";
    let rows = rows(answer).unwrap();
    assert_eq!(rows.len(), 2);
    assert_eq!(rows[0].find::<f64>("value").unwrap(), Some(1.5));
    assert_eq!(rows[0].find::<i64>("flag").unwrap(), None);
    assert_eq!(rows[1].find::<f64>("value").unwrap(), None);
    assert_eq!(rows[1].need::<i64>("flag").unwrap(), 9);
    assert_eq!(rows[1].need::<f64>("value").unwrap_err().to_string(), "a row of the answer has no 'value'");
}

#[test]
fn an_empty_answer_and_empty_tables_have_no_rows() {
    let empty_table = "#datatype,string,long,string,double\r\n#group,false,false,true,false\r\n\
                       #default,_result,0,head-ntu,\r\n,result,table,sensor,value\r\n\r\n";
    for answer in ["", "\r\n", empty_table, &[empty_table, empty_table].concat()] {
        assert_eq!(rows(answer).unwrap().len(), 0, "{answer:?}");
    }
    assert_eq!(rows(&[empty_table, PLAIN, empty_table, PLAIN].concat()).unwrap().len(), 6);
}

#[test]
fn quoted_text_keeps_its_commas_quotes_and_line_ends() {
    let answer = "#datatype,string,long,string\r\n#group,false,false,false\r\n#default,_result,,\r\n\
                  ,result,table,text\r\n,,0,\"one, \"\"two\"\"\r\nthree\n#datatype\"\r\n,,0,höher\r\n";
    let rows = rows(answer).unwrap();
    let texts: Vec<String> = rows.iter().map(|row| row.need("text").unwrap()).collect();
    assert_eq!(texts, ["one, \"two\"\r\nthree\n#datatype", "höher"]);
}

#[test]
fn an_error_of_the_database_is_told_wherever_it_comes() {
    let told = "#datatype,string,string\r\n#group,true,true\r\n#default,,\r\n,error,reference\r\n,out of memory,897\r\n";
    let says = "the database gave up on the query: out of memory";
    assert_eq!(error(told), says);
    assert_eq!(error("error,reference\r\nout of memory,\r\n"), says, "without annotations");
    assert_eq!(error("error,reference\r\n"), "the database gave up on the query: no reason given");
    let answer = [PLAIN, told].concat();
    let mut late = Rows::new(answer.as_bytes());
    assert!(late.by_ref().take(3).all(|row| row.is_ok()));
    assert_eq!(late.next().unwrap().unwrap_err().to_string(), says);
    assert!(late.next().is_none(), "nothing comes after an error");
}

#[test]
fn what_does_not_fit_the_specification_is_refused_with_what_was_expected_and_found() {
    let table = |datatypes: &str, row: &str| format!("#datatype,{datatypes}\n,value,flag\n{row}\n");
    for (answer, says) in [
        (
            ",result,table\n,,0\n".to_owned(),
            "expected #datatype above the rows of the answer, found ',result,table'",
        ),
        ("{\"code\":\"invalid\"}".to_owned(), "expected #datatype above"),
        (table("double,long", ",1"), "expected 3 cells in a row of the answer, found 2"),
        (table("double,long", ",1,2,3"), "expected 3 cells in a row of the answer, found 4"),
        (table("double", ",1,2"), "expected 3 cells in a row of the answer, found 2"),
    ] {
        assert!(error(&answer).starts_with(says), "{answer}: {}", error(&answer));
    }
    for (datatypes, row, says) in [
        ("string,long", ",1,2", "expected a finite number (double) in 'value' of the answer, found 'string'"),
        ("double,long", ",NaN,2", "expected a finite number (double) in 'value' of the answer, found 'NaN'"),
        (
            "double,long",
            ",+Inf,2",
            "expected a finite number (double) in 'value' of the answer, found '+Inf'",
        ),
        (
            "double,long",
            ",1.2.3,2",
            "expected a finite number (double) in 'value' of the answer, found '1.2.3'",
        ),
    ] {
        let rows = rows(&table(datatypes, row)).unwrap();
        assert_eq!(rows[0].need::<f64>("value").unwrap_err().to_string(), says);
    }
    let broken = Rows::new(&b"#datatype,string\n,text\n,\xFF\n"[..]).last().unwrap();
    assert!(matches!(broken, Err(BadAnswer::Broken(_))));
}

/// A table as the encoder below writes it.
#[derive(Debug, Clone)]
struct EncodedTable {
    /// Which of the columns it has, in which order.
    columns: Vec<usize>,
    rows: Vec<(String, Option<f64>, Option<i64>)>,
    line_end: &'static str,
}

fn table() -> impl Strategy<Value = EncodedTable> {
    let columns = proptest::sample::subsequence(vec![0_usize, 1, 2], 0..=3).prop_shuffle();
    let number = any::<f64>().prop_filter("finite", |number| number.is_finite());
    let row = (
        "\\PC{0,6}[\"\n\r, #]{0,3}\\PC{0,4}",
        proptest::option::of(number),
        proptest::option::of(any::<i64>()),
    );
    let line_end = prop_oneof![Just("\n"), Just("\r\n")];
    (columns, proptest::collection::vec(row, 0..5), line_end)
        .prop_map(|(columns, rows, line_end)| EncodedTable { columns, rows, line_end })
}

/// An encoder after the same specification.
fn write(table: &EncodedTable, number: usize, answer: &mut String) {
    let quoted = |text: &str| format!("\"{}\"", text.replace('"', "\"\""));
    let mut line = |first: &str, result: &str, table_number: &str, cell: &dyn Fn(usize) -> String| {
        let cells: Vec<String> = table.columns.iter().map(|column| cell(*column)).collect();
        let all = [vec![first.to_owned(), result.to_owned(), table_number.to_owned()], cells].concat();
        answer.push_str(&all.join(","));
        answer.push_str(table.line_end);
    };
    line("#datatype", "string", "long", &|column| ["string", "double", "long"][column].to_owned());
    line("#group", "false", "false", &|_| "false".to_owned());
    line("#default", "_result", "", &|_| String::new());
    line("", "result", "table", &|column| ["text", "value", "flag"][column].to_owned());
    for (text, value, flag) in &table.rows {
        line("", "", &number.to_string(), &|column| match column {
            0 => quoted(text),
            1 => value.map(|value| value.to_string()).unwrap_or_default(),
            _ => flag.map(|flag| flag.to_string()).unwrap_or_default(),
        });
    }
    answer.push_str(table.line_end);
}

proptest! {
    #[test]
    fn what_an_encoder_writes_comes_back_bit_for_bit(tables in proptest::collection::vec(table(), 0..4)) {
        let mut answer = String::new();
        for (number, table) in tables.iter().enumerate() {
            write(table, number, &mut answer);
        }
        let mut found = Rows::new(answer.as_bytes());
        for table in &tables {
            for (text, value, flag) in &table.rows {
                let row = found.next().expect("as many rows as were written").unwrap();
                let has = |column: usize| table.columns.contains(&column);
                prop_assert_eq!(row.find::<String>("text").unwrap().unwrap_or_default(), if has(0) { text.as_str() } else { "" });
                let expected = value.filter(|_| has(1));
                prop_assert_eq!(row.find::<f64>("value").unwrap().map(f64::to_bits), expected.map(f64::to_bits));
                prop_assert_eq!(row.find::<i64>("flag").unwrap(), flag.filter(|_| has(2)));
            }
        }
        prop_assert!(found.next().is_none());
    }

    #[test]
    fn no_bytes_make_it_panic_or_run_for_ever(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        look_at_everything(&bytes);
    }

    #[test]
    fn no_damage_to_a_good_answer_makes_it_panic(
        place in 0..PLAIN.len(),
        bytes in proptest::collection::vec(prop_oneof![any::<u8>(), Just(b'#'), Just(b','), Just(b'"'), Just(b'\n')], 0..6),
        cut in 0..8_usize,
    ) {
        let mut answer = PLAIN.as_bytes().to_vec();
        let end = (place + cut).min(answer.len());
        answer.splice(place..end, bytes);
        look_at_everything(&answer);
    }
}

fn look_at_everything(answer: &[u8]) {
    // Each row takes at least one line.
    let most = answer.len() + 1;
    let mut seen = 0;
    for row in Rows::new(answer) {
        seen += 1;
        assert!(seen <= most);
        let Ok(row) = row else { continue };
        for column in ["value", "flag", "text", "_time", "in_use", "result", "table", "", "sensor"] {
            row.find::<f64>(column).ok();
            row.find::<i64>(column).ok();
            row.find::<bool>(column).ok();
            row.find::<String>(column).ok();
            row.find::<Timestamp>(column).ok();
        }
    }
}
