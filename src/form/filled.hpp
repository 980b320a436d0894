// A filled text held against the printed one: the words of the print are found again in their
// order, however the lines were broken; what is left over, somebody wrote.
#ifndef DRYSHAFT_FORM_FILLED_HPP
#define DRYSHAFT_FORM_FILLED_HPP

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace dryshaft::form {

inline constexpr std::size_t kNone = static_cast<std::size_t>(-1);

// Letters and digits that stand together, in small letters.
struct Word {
  std::size_t begin = 0;
  std::size_t end = 0;
  std::string plain;
};
std::vector<Word> words_of(std::string_view text);

// The words joined by hyphens: how a key looks, whatever a mail program put between them.
std::string as_key(std::string_view text);

// One question as it is printed. `labels`: what stands behind its boxes, in their order, or the
// one label before an answer that is typed.
struct Print {
  Print() = default;
  Print(std::string printed, const std::vector<std::string>& labels);

  struct Label {
    std::size_t first = 0;  // words
    std::size_t end = 0;
  };
  std::string text;
  std::vector<Word> words;
  std::vector<Label> labels;
};

struct Span {
  std::size_t begin = 0;
  std::size_t end = 0;
};

// Which word of the print each written word is.
struct Match {
  std::vector<Word> words;
  std::vector<std::size_t> print;  // one a written word; kNone: it is not printed
  std::vector<Span> labels;        // one a label of the print, as written words; empty: not there

  [[nodiscard]] std::size_t left_over() const;               // written words that are not printed
  [[nodiscard]] bool has_question(const Print& form) const;  // words before the labels
};
Match match(const Print& print, std::string_view written);

// What somebody wrote somewhere: bytes of the text.
struct Piece {
  std::size_t begin = 0;
  std::string text;
  bool amid = false;    // in the midst of a printed sentence, where nobody answers
  bool beside = false;  // on a line with printed words, where a spoilt letter looks like an answer
};

// A choice in a filled text, with what was written beside it.
struct Box {
  enum class State : unsigned char { blank, marked, unclear };
  std::size_t label = kNone;  // of the print; kNone: the print has no such label
  std::size_t begin = 0;      // where it stands
  State state = State::blank;
  bool framed = false;     // it has brackets, or one of them
  std::string inside;      // what makes it unclear
  std::string mark;        // the word that marks it, such as "yes"
  std::string label_text;  // where the print has no such label
  // Signs before and behind it, save those that every choice has, such as a list's bullets.
  struct Beside {
    std::string signs;    // numbers and single letters of a list as "1" and "a"
    bool points = false;  // such as "<--" and "!!!": a mark where one choice alone has it
    bool odd = false;     // some mean nothing by themselves
  };
  Beside before;
  Beside after;
  Piece words;  // behind it
  [[nodiscard]] bool pointed_at() const { return before.points || after.points; }
  [[nodiscard]] bool odd() const { return before.odd || after.odd; }
};

// A question with choices. `written` is all of it, from behind its key to the next.
struct Boxes {
  bool has_question = false;  // some of the question's own words are there
  std::vector<Box> boxes;     // in the order of the text
  std::vector<Piece> pieces;  // at no choice
};
Boxes boxes_in(const Print& print, std::string_view written);

// A question whose answer is typed.
struct Typed {
  bool has_question = false;  // some of the question's own words are there
  bool has_label = false;     // "Answer:" is there
  std::vector<Piece> before;  // above it
  std::vector<Piece> answer;  // behind and below it, one a line
};
Typed typed_in(const Print& print, std::string_view written);

// What was written between printed words, as with the head of a form.
std::vector<Piece> pieces_in(const Print& print, std::string_view written);

// Whether a text in brackets is a mark, such as "x".
bool is_mark(std::string_view text);

}  // namespace dryshaft::form

#endif
