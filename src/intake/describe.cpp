#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "intake/refusals.hpp"
#include "intake/trace_reader.hpp"

namespace backeddy::intake {

namespace {

template <typename T>
std::string line_of(std::string_view what, std::string_view value, const Finding<T>& finding) {
    return finding.origin == Origin::set && (finding.evidence == "set" || finding.evidence.empty())
               ? fmt::format("{}: {} (set)", what, value)
               : fmt::format("{}: {} ({}: {})", what, value,
                             finding.origin == Origin::set ? "set" : "guessed", finding.evidence);
}

std::string of_stream(const std::string& stream) {
    return stream.empty() ? "" : fmt::format(" in chamber {}", stream);
}

std::string seconds(double value) {
    return significant_text(value, 4) + " s";
}

std::string plural(std::uint64_t n, std::string_view one) {
    return fmt::format("{} {}{}", n, one, n == 1 ? "" : "s");
}

} // namespace

std::vector<std::string> in_words(const Dialect& dialect) {
    std::vector<std::string> out;
    out.push_back(line_of("encoding", word_of(dialect.encoding.value), dialect.encoding));
    out.push_back(
        line_of("line ends", dialect.line_end.value == LineEnd::cr ? "CR" : "LF or CR LF", dialect.line_end));
    out.push_back(line_of("delimiter", word_of(dialect.delimiter.value), dialect.delimiter));
    out.push_back(line_of("decimal", word_of(dialect.decimal.value), dialect.decimal));
    out.push_back(line_of("quoting", word_of(dialect.quoting.value), dialect.quoting));
    const auto line_number = [](std::uint64_t line) {
        return line == 0 ? std::string("none") : std::to_string(line);
    };
    out.push_back(line_of("header line", line_number(dialect.header_line.value), dialect.header_line));
    out.push_back(line_of("units line", line_number(dialect.units_line.value), dialect.units_line));
    out.push_back(
        line_of("first row", fmt::format("line {}", dialect.first_data_line.value), dialect.first_data_line));
    out.push_back(line_of("times", word_of(dialect.time_form.value), dialect.time_form));
    if (dialect.time_form.value == TimeForm::calendar) {
        out.push_back(line_of("date order", word_of(dialect.date_order.value), dialect.date_order));
    }
    if (dialect.time_form.value >= TimeForm::elapsed_seconds) {
        out.push_back(
            line_of("start", iso_text(Instant::unix_nanoseconds(dialect.start_ns.value)), dialect.start_ns));
    }
    out.push_back(
        line_of("zone", dialect.zone.value.empty() ? "none needed" : dialect.zone.value, dialect.zone));
    for (const auto& column : dialect.columns) {
        const std::string use = column.is_reading()
                                    ? fmt::format("{} in {}, channel \"{}\"", word_of(column.use),
                                                  name_of(column.unit), column.channel)
                                    : std::string(word_of(column.use));
        out.push_back(
            fmt::format("column {} \"{}\": {} ({}{})", column.index, column.header, use,
                        column.origin == Origin::set ? "set" : "guessed",
                        column.evidence.empty() || column.evidence == "set" ? "" : ": " + column.evidence));
    }
    return out;
}

std::vector<std::string> in_words(const ReadReport& report, std::size_t listed_per_reason) {
    std::vector<std::string> out;
    const std::uint64_t refused = report.refused.size() + report.refused_not_listed;
    out.push_back(fmt::format("{}: {} kept, {} refused; {} blank, {} set aside, {} before the rows",
                              plural(report.rows, "row"), report.kept, refused, plural(report.blank, "line"),
                              report.set_aside.size(), report.before));
    for (const auto& stream : report.streams) {
        if (stream.rows > 0) {
            out.push_back(fmt::format("{}{}: {} to {}, usually every {}", plural(stream.rows, "row"),
                                      of_stream(stream.name), iso_text(stream.first), iso_text(stream.last),
                                      seconds(stream.usual_interval_s)));
        }
    }
    for (const auto& missing : report.missing) {
        if (missing.count == 0) {
            continue;
        }
        std::vector<std::string> words;
        for (const auto& [word, count] : missing.words) {
            words.push_back(fmt::format("{} {}", count, word.empty() ? "empty" : "\"" + word + "\""));
        }
        if (missing.unreadable > 0) {
            words.push_back(fmt::format("{} unreadable", missing.unreadable));
        }
        out.push_back(fmt::format("column \"{}\": {} missing ({})", missing.column,
                                  plural(missing.count, "cell"), fmt::join(words, ", ")));
        for (const auto& cell : missing.unreadable_cells) {
            out.push_back(cell.text());
        }
    }
    for (const auto& group : refusals_of(report, listed_per_reason)) {
        out.push_back(fmt::format("{} refused, {}: {}{}", plural(group.rows, "row"), in_words(group.lines),
                                  group.reason.found,
                                  group.reason.expected.empty() ? "" : "; " + group.reason.expected));
        for (const std::size_t i : group.listed) {
            out.push_back(
                fmt::format("refused: {}: {}", report.refused[i].reason.text(), report.refused[i].raw));
        }
        if (listed_per_reason > 0 && group.rows > group.listed.size()) {
            out.push_back(
                fmt::format("refused: {} more for this reason: `run` lists them in refused_rows.csv",
                            plural(group.rows - group.listed.size(), "row")));
        }
    }
    for (const auto& aside : report.set_aside) {
        out.push_back(fmt::format("line {} set aside: {}: {}", aside.line, aside.what, aside.raw));
    }
    for (const auto& fold : report.folds) {
        out.push_back(fmt::format("{}{} from line {} in a local hour that came twice: {}",
                                  plural(fold.rows, "row"), of_stream(fold.stream), fold.first_line,
                                  fold.how));
    }
    for (const auto& duplicate : report.duplicates) {
        out.push_back(fmt::format("{}{} with the same time as the row before, first at line {}",
                                  plural(duplicate.rows, "row"), of_stream(duplicate.stream),
                                  duplicate.first_line));
    }
    for (const auto& step : report.clock_steps) {
        out.push_back(
            fmt::format("the clock steps back{} at line {}, from {} to {}: {} refused until it caught up",
                        of_stream(step.stream), step.line, iso_text(step.from), iso_text(step.to),
                        plural(step.rows, "row")));
    }
    for (const auto& gap : report.gaps) {
        out.push_back(fmt::format("gap{} before line {}: {} to {}, {} where {} is usual",
                                  of_stream(gap.stream), gap.line, iso_text(gap.from), iso_text(gap.to),
                                  seconds((gap.to - gap.from).seconds()), seconds(gap.usual_interval_s)));
    }
    for (const auto& change : report.interval_changes) {
        out.push_back(fmt::format("sampling changes{} at line {}: from every {} to every {}",
                                  of_stream(change.stream), change.line, seconds(change.before_s),
                                  seconds(change.after_s)));
    }
    if (report.torn_last_line) {
        out.push_back("the last line is cut");
    }
    return out;
}

} // namespace backeddy::intake
