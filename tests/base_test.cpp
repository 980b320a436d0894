// Complaints, edit distance, located JSON, SHA-256, UTF-8.
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

#include "base/complaints.hpp"
#include "base/located_json.hpp"
#include "base/sha256.hpp"
#include "base/utf8.hpp"
#include "dryshaft/diagnostic.hpp"

namespace dryshaft {
namespace {

using located::Document;
using located::Node;
using namespace std::string_literals;

struct Parsed {
  bool usable = false;
  std::string complaints;
};

Parsed parse(std::string_view text, const located::Limits& limits = {}) {
  std::vector<Diagnostic> out;
  const Document document(text, {"a.json", 1, 1}, limits, out);
  Parsed parsed{.usable = document.usable(), .complaints = {}};
  for (const Diagnostic& d : out) {
    parsed.complaints += to_text(d);
  }
  return parsed;
}

// The only complaint about a text that is no JSON.
std::string json_refusal(std::string_view text) {
  const Parsed parsed = parse(text);
  CHECK_FALSE(parsed.usable);
  return parsed.complaints;
}

// ------------------------------------------------------------ complaints

TEST_CASE("a complaint is printed with its place, excerpt, caret and advice") {
  const Diagnostic d{.code = "bad-value",
                     .source = "intake.jsonl",
                     .line = 17,
                     .column = 142,
                     .pointer = "/inspection/port/fluid",
                     .message = "is \"dropplets\"",
                     .excerpt = R"("fluid":"dropplets","fluid_kind":"coolant")",
                     .caret = 8,
                     .allowed = "none, film, droplets, pooled",
                     .hint = "did you mean \"droplets\"?"};
  CHECK(to_text(d) ==
        R"(intake.jsonl:17:142: error[bad-value]: /inspection/port/fluid is "dropplets"
  "fluid":"dropplets","fluid_kind":"coolant"
          ^
  allowed: none, film, droplets, pooled
  hint: did you mean "droplets"?
)");
}

TEST_CASE("a complaint leaves out what it does not have") {
  Diagnostic d;
  d.severity = Severity::warning;
  d.code = "odd";
  d.message = "is odd";
  CHECK(to_text(d) == "warning[odd]: is odd\n");
  d.source = "b.json";
  CHECK(to_text(d) == "b.json: warning[odd]: is odd\n");
  d.line = 4;
  CHECK(to_text(d) == "b.json:4: warning[odd]: is odd\n");
}

TEST_CASE("nothing in a complaint can steer a terminal") {
  Diagnostic d;
  d.code = "odd";
  d.source = "a\x1B[2J.json";
  d.pointer = "/\x07";
  d.message = "is \"\xC2\x9B\"";
  d.excerpt = "\"\t\xE2\x80\xAE\"";
  d.allowed = "\x7F";
  d.hint = "\n";
  CHECK(to_text(d) ==
        "a\uFFFD[2J.json: error[odd]: /\uFFFD is \"\uFFFD\"\n  \" \uFFFD\"\n  ^\n"
        "  allowed: \uFFFD\n  hint: \uFFFD\n");
}

TEST_CASE("the closest word is found by edits, or none is near enough") {
  const std::vector<std::string_view> words = {"none", "film", "droplets", "pooled", "unknown"};
  struct Row {
    std::string_view word;
    std::string_view closest;
  };
  const Row row = GENERATE(Row{"dropplets", "droplets"}, Row{"Droplets", "droplets"},
                           Row{"dorplets", "droplets"}, Row{"drplts", "droplets"},
                           Row{"flim", "film"}, Row{"fil", "film"}, Row{"nono", "none"},
                           Row{"nnoe", "none"}, Row{"naan", ""}, Row{"", ""}, Row{"f", ""},
                           Row{"puddle", ""}, Row{"unkwnon", "unknown"}, Row{"drops", ""});
  CAPTURE(row.word);
  CHECK(closest(row.word, words) == row.closest);
}

TEST_CASE("the first of equally close words is suggested, and none out of nothing") {
  CHECK(closest("bat", {"cat", "bar"}) == "cat");
  CHECK(closest("word", {}).empty());
  CHECK(closest(std::string(1 << 20, 'x'), {"none"}).empty());
}

// ---------------------------------------------------------------- SHA-256

TEST_CASE("SHA-256 gives the published digests") {
  // FIPS 180-4 refers to the NIST example values for SHA-256: the one-block message "abc" and the
  // two-block message of 448 bits. The empty message and the million: NIST test vectors.
  CHECK(sha256_hex("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  CHECK(sha256_hex("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(sha256_hex("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq") ==
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  // The first vector, in base64 as `openssl dgst -binary | base64` gives it.
  CHECK(sha256_base64("") == "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=");
  CHECK(sha256_hex(std::string(1'000'000, 'a')) ==
        "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

TEST_CASE("SHA-256 pads texts of every length around a block") {
  // Digests of n letters `a`, chained into one: made with coreutils sha256sum.
  std::string chain;
  for (std::size_t n = 50; n <= 130; ++n) {
    chain += sha256_hex(std::string(n, 'a'));
  }
  CHECK(sha256_hex(chain) == "68a3f63b877cc73d96306bfce32a00f268beb00bdbc98661677f57265748f22f");
}

// ------------------------------------------------------------------ UTF-8

TEST_CASE("UTF-8 is told from what is not") {
  for (const std::string_view good : {"a", "\xC2\x80", "\xDF\xBF", "\xE0\xA0\x80", "\xED\x9F\xBF",
                                      "\xEE\x80\x80", "\xF0\x90\x80\x80", "\xF4\x8F\xBF\xBF"}) {
    CHECK(utf8::first_invalid(good) == good.size());
    CHECK(utf8::length(good) == 1);
  }
  for (const std::string_view bad :
       {"\x80", "\xC0\xAF", "\xC1\xBF", "\xE0\x9F\xBF", "\xED\xA0\x80", "\xF0\x8F\xBF\xBF",
        "\xF4\x90\x80\x80", "\xF5\x80\x80\x80", "\xFF", "\xC2", "\xE2\x82", "\xF0\x9F\x98"}) {
    CHECK(utf8::first_invalid(bad) == 0);
    CHECK(utf8::length(bad) == bad.size());
  }
}

TEST_CASE("a long text is cut to whole characters") {
  // Tags spell a text that nobody sees; what lies beside them stays.
  CHECK(utf8::harmless("dry\U000E0001\U000E0061\U000E007F.") == "dry\uFFFD\uFFFD\uFFFD.");
  CHECK(utf8::harmless("\U000E0080\U000E0100\U000E01EF") == "\uFFFD\uFFFD\uFFFD");
  CHECK(utf8::harmless("\U000DFFFF\U000E1000") == "\U000DFFFF\U000E1000");
  CHECK(utf8::found_at("\U000E0041", 0) == "U+E0041");
  CHECK(utf8::harmless("\u00E4\u00F6\u00FC", 3) == "\u00E4\u00F6\u00FC");
  CHECK(utf8::harmless("\u00E4\u00F6\u00FC", 2) == "\u00E4\u00F6...");
}

// ----------------------------------------------------------- located JSON

TEST_CASE("every value knows its text, its pointer and its place") {
  const std::string text =
      "{ \"a\" : [1, -0 ,2.5e3] ,\n  \"\u00E4\":{\"q\\\"\":\"x\\u0041\\\\\",\"~/\":null}, "
      "\"t\":true , "
      "\"f\":false}";
  std::vector<Diagnostic> out;
  const Document d(text, {"a.json", 3, 5}, {}, out);
  REQUIRE(d.usable());
  CHECK(out.empty());
  CHECK(d.raw(d.root()) == text);
  CHECK(d.pointer(d.root()).empty());

  const Node* a = d.find(d.root(), "a");
  REQUIRE(a != nullptr);
  CHECK(d.raw(*a) == "[1, -0 ,2.5e3]");
  CHECK(d.place(*a).line == 3);
  CHECK(d.place(*a).column == 13);
  REQUIRE(a->children == 3);
  const Node* element = d.first(*a);
  CHECK(d.raw(*element) == "1");
  element = d.next(*element);
  CHECK(d.raw(*element) == "-0");
  CHECK(element->number == 0);
  CHECK_FALSE(std::signbit(element->number));
  element = d.next(*element);
  CHECK(d.raw(*element) == "2.5e3");
  CHECK(element->number == 2500);
  CHECK(d.pointer(*element) == "/a/2");
  CHECK(d.next(*element) == nullptr);

  const Node* umlaut = d.find(d.root(), "\u00E4");
  REQUIRE(umlaut != nullptr);
  CHECK(d.place(*umlaut).line == 4);
  CHECK(d.place(*umlaut).column == 7);
  const Node* quoted = d.first(*umlaut);
  CHECK(quoted->key == "q\"");
  CHECK(quoted->text == "xA\\");
  CHECK(d.raw(*quoted) == R"("x\u0041\\")");
  CHECK(d.pointer(*d.next(*quoted)) == "/\u00E4/~0~1");
  CHECK(d.find(d.root(), "t")->boolean);
  CHECK_FALSE(d.find(d.root(), "f")->boolean);
  CHECK(d.find(d.root(), "b") == nullptr);
  // Places may be asked for in any order.
  CHECK(d.place(d.root()).column == 5);
}

TEST_CASE("values are named and shown in messages") {
  std::vector<Diagnostic> out;
  const std::string text = R"([{}, [], "s", 1.50, true, null, ")" + std::string(50, 'x') + "\"]";
  const Document d(text, {"a.json", 1, 1}, {}, out);
  std::string all;
  for (const Node* n = d.first(d.root()); n != nullptr; n = d.next(*n)) {
    all += located::shown(d, *n) + " is " + std::string(located::kind_name(n->kind)) + "\n";
  }
  CHECK(all ==
        "an object is an object\nan array is an array\n\"s\" is a string\n1.50 is a number\n"
        "true is true or false\nnull is null\n\"" +
            std::string(40, 'x') + "...\" is a string\n");
}

TEST_CASE("of repeated keys the first counts, and each other one is named") {
  const std::string text = R"({"a":1,"b":{"c":1,"c":2},"a":3,"\u0061":4})";
  std::vector<Diagnostic> out;
  const Document d(text, {"a.json", 1, 1}, {}, out);
  REQUIRE(d.usable());
  CHECK(d.find(d.root(), "a")->number == 1);
  CHECK(d.root().children == 2);
  std::string complaints;
  for (const Diagnostic& c : out) {
    complaints += to_text(c);
  }
  CHECK(complaints == R"(a.json:1:19: error[duplicate-key]: /b/c is given twice
  "c":2},"a":3,"\u0061":4}
  ^
  hint: keep one of the two
a.json:1:26: error[duplicate-key]: /a is given twice
  "a":3,"\u0061":4}
  ^
  hint: keep one of the two
a.json:1:32: error[duplicate-key]: /a is given twice
  "\u0061":4}
  ^
  hint: keep one of the two
)");
}

TEST_CASE("many members: repeated keys are found all the same") {
  std::string text = "{";
  for (int i = 0; i < 60'000; ++i) {
    text += "\"k" + std::to_string(i % 30'000) + "\":0,";
  }
  text += "\"z\":0}";
  std::vector<Diagnostic> out;
  const Document d(text, {"a.json", 1, 1}, {}, out);
  REQUIRE(d.usable());
  CHECK(number_of(out) == 30'000);
  CHECK(d.root().children == 30'001);
  CHECK(out.front().pointer == "/k0");
  CHECK(out[out.size() - 2].pointer == "/k99");
}

TEST_CASE("numbers that a double does not hold are refused") {
  CHECK(parse(R"({"x":9007199254740993})").complaints ==
        R"(a.json:1:6: error[number-range]: /x is 9007199254740993
  "x":9007199254740993}
      ^
  allowed: numbers that a double holds exactly
)");
  CHECK(parse(R"({"x":1e400})").complaints == R"(a.json:1:6: error[number-range]: /x is 1e400
  "x":1e400}
      ^
  allowed: numbers that a double holds exactly
)");
  for (const std::string_view bad :
       {"18446744073709551615", "-9007199254740993", "123456789012345678901234567890",
        "-9223372036854775809", "-1e400", "9223372036854775807"}) {
    CAPTURE(bad);
    CHECK(parse(bad).complaints.find("error[number-range]: is ") != std::string::npos);
  }
  for (const std::string_view good : {"0", "-0", "9007199254740992", "-9007199254740992", "1e308",
                                      "0.1", "9223372036854775808", "5e-324", "1E+2"}) {
    CAPTURE(good);
    CHECK(parse(good).complaints.empty());
    CHECK(parse(good).usable);
  }
}

TEST_CASE("a number beyond every double hides nothing that stands after it") {
  const std::string digits(400, '7');
  std::vector<Diagnostic> out;
  const std::string text = R"({"a\\":"1e400","b":[-1e400,1e-400,)" + digits +
                           R"(.5,2.5],"c":1e0400,)" + R"("d":-)" + digits +
                           R"(,"d":"\"","e":1e308})";
  const Document d(text, {"a.json", 1, 1}, {}, out);
  REQUIRE(d.usable());
  std::string complaints;
  for (const Diagnostic& one : out) {
    complaints += one.code + " " + one.pointer + "\n";
  }
  CHECK(complaints ==
        "number-range /b/0\nnumber-range /b/2\nnumber-range /c\nnumber-range /d\n"
        "duplicate-key /d\n");
  const Node* list = d.find(d.root(), "b");
  REQUIRE(list != nullptr);
  const Node* n = d.first(*list);
  CHECK(n->number == -std::numeric_limits<double>::infinity());
  n = d.next(*n);
  CHECK(n->number == 0);
  n = d.next(*n);
  CHECK(n->number == std::numeric_limits<double>::infinity());
  CHECK(d.raw(*n) == digits + ".5");
  n = d.next(*n);
  CHECK(n->number == 2.5);
  CHECK(d.find(d.root(), "c")->number == std::numeric_limits<double>::infinity());
  CHECK(d.find(d.root(), "e")->number == 1e308);
  CHECK(d.find(d.root(), "a\\")->text == "1e400");

  // What is no JSON stays so, and is told where it stands.
  CHECK(json_refusal("[1e400,1e]") ==
        "a.json:1:2: error[number-range]: /0 is 1e400\n  [1e400,1e]\n   ^\n"
        "  allowed: numbers that a double holds exactly\n"
        "a.json:1:8: error[syntax]: expected a value, found \"1e\"\n  [1e400,1e]\n         ^\n"
        "  hint: numbers are written like 12, -0.5 or 1e3\n");
  CHECK(parse("[1e400, \"open").complaints.find("is not closed") != std::string::npos);
  CHECK(parse("-").complaints.find("error[syntax]") != std::string::npos);
}

TEST_CASE("depth and size are limited") {
  CHECK(parse(std::string(32, '[') + std::string(32, ']')).usable);
  CHECK(json_refusal("[[[" + std::string(30, '[')) ==
        "a.json:1:33: error[depth]: is nested 33 deep\n  [[\n   ^\n  allowed: 32 levels\n");
  // Deep enough to overflow a stack, were the parser recursive.
  CHECK(parse(std::string(1 << 20, '[')).complaints.find("error[depth]") != std::string::npos);
  const Parsed large = parse("[1,2,3]", {.depth = 32, .bytes = 6});
  CHECK_FALSE(large.usable);
  CHECK(large.complaints ==
        "a.json:1:1: error[size]: holds 7 bytes\n  [1,2,3]\n  ^\n  allowed: 6 bytes\n");
  CHECK(parse("[1,2,3]", {.depth = 32, .bytes = 7}).usable);
}

TEST_CASE("a byte order mark is passed over") { CHECK(parse("\xEF\xBB\xBF{}").usable); }

TEST_CASE("a syntax error says what was expected and what stands there") {
  struct Row {
    std::string text;
    std::string_view complaint;
  };
  const Row row = GENERATE(values<Row>({
      {"", "1:1: error[syntax]: expected a value, found the end of the text\n"},
      {R"({"a":1,})", R"(1:8: error[syntax]: expected a key, found "}"
  {"a":1,}
         ^
  hint: take out the comma before it
)"},
      {"[1,\n2,\n]",
       "3:1: error[syntax]: expected a value, found \"]\"\n  ]\n  ^\n"
       "  hint: take out the comma before it\n"},
      {R"({"a" 1})", R"(1:6: error[syntax]: expected ":", found "1"
  {"a" 1}
       ^
)"},
      {R"({"a":1 "b":2})", R"(1:8: error[syntax]: expected "," or "}", found a string
  {"a":1 "b":2}
         ^
)"},
      {"[1 2]", "1:4: error[syntax]: expected \",\" or \"]\", found \"2\"\n  [1 2]\n     ^\n"},
      {"[1,2",
       "1:5: error[syntax]: expected \",\" or \"]\", found the end of the text\n"
       "  [1,2\n      ^\n"},
      {"[]]", "1:3: error[syntax]: expected the end of the text, found \"]\"\n  []]\n    ^\n"},
      {"{a:1}",
       "1:2: error[syntax]: expected a key or \"}\", found \"a\"\n  {a:1}\n   ^\n"
       "  hint: keys stand in double quotes\n"},
      {"['a']",
       "1:2: error[syntax]: expected a value or \"]\", found \"'\"\n  ['a']\n   ^\n"
       "  hint: strings stand in double quotes\n"},
      {R"({"a":NaN})", R"(1:6: error[syntax]: expected a value, found "NaN"
  {"a":NaN}
       ^
  hint: words stand in double quotes, save true, false and null
)"},
      {R"({"a":.5})", R"(1:6: error[syntax]: expected a value, found ".5"
  {"a":.5}
       ^
  hint: numbers are written like 12, -0.5 or 1e3
)"},
      {R"({"a":1.})", R"(1:6: error[syntax]: expected a value, found "1."
  {"a":1.}
       ^
  hint: numbers are written like 12, -0.5 or 1e3
)"},
      {R"({"a":01})", R"(1:7: error[syntax]: expected "," or "}", found "1"
  {"a":01}
        ^
  hint: a number has no zero in front
)"},
      {"[1] // ours",
       "1:5: error[syntax]: expected the end of the text, found \"/\"\n"
       "  [1] // ours\n      ^\n  hint: JSON has no comments\n"},
      {R"(["b\qc"])", R"(1:4: error[syntax]: "\q" is not an escape that JSON knows
  ["b\qc"]
     ^
  hint: write a backslash twice
)"},
      {R"(["\u12g4"])", R"(1:3: error[syntax]: "\u" needs four hexadecimal digits after it
  ["\u12g4"]
    ^
)"},
      {R"(["\ud83dx"])", R"(1:3: error[syntax]: "\ud83d" is half of a surrogate pair
  ["\ud83dx"]
    ^
)"},
      {R"(["\ude00"])", R"(1:3: error[syntax]: "\ude00" is half of a surrogate pair
  ["\ude00"]
    ^
)"},
      {"[\"a\tb\"]",
       "1:4: error[syntax]: a string holds the control character U+0009\n"
       "  [\"a b\"]\n     ^\n  hint: write it as \\u0009\n"},
      {"[\"a\nb\"]",
       "1:2: error[syntax]: the string that begins here is not closed on its line\n"
       "  [\"a\n   ^\n  hint: write a line break inside a string as \\n\n"},
      {"[\"a", "1:2: error[syntax]: the string that begins here is not closed\n  [\"a\n   ^\n"},
      {"[\"a\\", "1:2: error[syntax]: the string that begins here is not closed\n  [\"a\\\n   ^\n"},
      {"{}\0x"s,
       "1:3: error[syntax]: expected the end of the text, found U+0000\n"
       "  {}\uFFFDx\n    ^\n"},
      {"[\0]"s,
       "1:2: error[syntax]: expected a value or \"]\", found U+0000\n"
       "  [\uFFFD]\n   ^\n"},
      {"[\"\xFF\"]",
       "1:3: error[utf-8]: byte 0xFF is not UTF-8\n  [\"\uFFFD\"]\n    ^\n"
       "  hint: save the file as UTF-8\n"},
      {"[\x80]",
       "1:2: error[utf-8]: byte 0x80 is not UTF-8\n  [\uFFFD]\n   ^\n"
       "  hint: save the file as UTF-8\n"},
      {"[\"\u96FB\u96FB\" x]",
       "1:7: error[syntax]: expected \",\" or \"]\", found \"x\"\n"
       "  [\"\u96FB\u96FB\" x]\n        ^\n"},
  }));
  CAPTURE(row.text);
  CHECK(json_refusal(row.text) == "a.json:" + std::string(row.complaint));
}

TEST_CASE("an excerpt of a long line keeps to what is meant") {
  const std::string text =
      "{\"long\":\"" + std::string(500, 'x') + "\",\"value\":tru" + std::string(500, ' ') + "}";
  CHECK(json_refusal(text) ==
        "a.json:1:520: error[syntax]: expected a value, found \"tru\"\n  " + std::string(22, 'x') +
            "\",\"value\":tru" + std::string(37, ' ') + "\n  " + std::string(32, ' ') +
            "^\n  hint: words stand in double quotes, save true, false and null\n");
}

TEST_CASE("a text cut or changed anywhere is refused or read, and nothing else") {
  const std::string text =
      R"({"a":[1,-2.5e3,"\u00e4\ud83d\ude00"],"b":{"c":null,"d":[true,false]}})";
  for (std::size_t i = 0; i <= text.size(); ++i) {
    const Parsed cut = parse(std::string(text, 0, i));
    CHECK(cut.usable == (i == text.size()));
    CHECK(cut.complaints.empty() == cut.usable);
    for (const char c : "\0\xFF\"\\{}[]:,e-.0\n"s) {
      std::string changed = text;
      if (i < changed.size()) {
        changed[i] = c;
      }
      const Parsed parsed = parse(changed);
      CHECK((parsed.usable || !parsed.complaints.empty()));
    }
  }
}

}  // namespace
}  // namespace dryshaft
