#include "report/page.hpp"

#include <algorithm>

#include <gmock/gmock.h>

#include "base/hash.hpp"
#include "report/bundle.hpp"
#include "report/detail/base64.hpp"
#include "report/invented_study.hpp"
#include "report/json.hpp"

namespace backeddy::report {
namespace {

using testing::HasSubstr;
using testing::Not;

std::size_t times(const std::string& text, std::string_view part) {
    std::size_t count = 0;
    for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) {
        ++count;
    }
    return count;
}

TEST(Page, is_not_broken_by_a_fish_named_like_the_end_of_a_script) {
    Results results = invented_study({.fish = 2, .night_h = 2.0});
    const std::string sound = report_page(results);
    results.fish[0].id = "</script><script>alert(1)</script>";
    results.fish[0].events[0].note = "<img src=x onerror=alert(1)>";
    results.study.title = "</title></style><b>";
    const std::string page = report_page(results);
    EXPECT_EQ(times(page, "</script>"), times(sound, "</script>"));
    EXPECT_EQ(times(page, "<script"), times(sound, "<script"));
    EXPECT_EQ(times(page, "</style>"), 1U);
    EXPECT_THAT(page, Not(HasSubstr("<img src=x")));
    EXPECT_THAT(page, HasSubstr("&lt;/script&gt;&lt;script&gt;alert(1)&lt;/script&gt;"));
}

TEST(Page, forbids_the_network_and_names_its_own_script_by_hash) {
    const std::string page = report_page(invented_study({.fish = 1, .night_h = 1.0}));
    EXPECT_THAT(page, HasSubstr("default-src 'none'"));
    const std::size_t from = page.find("script-src 'sha256-") + 19;
    const std::string hash = page.substr(from, page.find('\'', from) - from);
    EXPECT_EQ(hash.size(), 44U);
    // The hash is of exactly the bytes between the script's tags.
    const std::string begin = "</script>\n<script>";
    const std::size_t script = page.find(begin) + begin.size();
    const std::string body = page.substr(script, page.find("</script>", script) - script);
    EXPECT_EQ(sha256_hex(body), sha256_hex(bundle_script()));
}

// Sixty fish must open in seconds: the report carries what is drawn, results.json carries everything.
TEST(Page, embeds_the_document_that_is_drawn) {
    const Results results = invented_study({.fish = 1, .night_h = 2.0});
    EXPECT_THAT(report_page(results), HasSubstr(json_text(results, Detail::drawn)));
}

TEST(Page, shows_the_catch_of_each_rig_with_its_limits_and_what_is_not_known) {
    Results results = invented_study({.fish = 1, .night_h = 1.0});
    const std::string page = report_page(results);
    EXPECT_THAT(page, HasSubstr("Single hook: 30.5 rod-hours on 12 lines"));
    EXPECT_THAT(page, HasSubstr("14 of 20: <span class=\"quantity\">70 (46 to 88) %</span>"));
    EXPECT_THAT(page,
                HasSubstr("Rig not written down: no line is known to have been in; 1 more without hours"));
    EXPECT_THAT(page, HasSubstr("Lost: =at the net"));
    EXPECT_THAT(page, HasSubstr("Pollachius virens (bycatch)"));
    EXPECT_THAT(page, HasSubstr("2 bites. Counted and in the shares, but in no rate."));
    results.fishing = {};
    EXPECT_THAT(report_page(results), HasSubstr("there is no catch to count"));
}

TEST(Page, shows_what_came_first_and_how_many_fish_an_effect_takes) {
    const std::string page = report_page(invented_study({.fish = 1, .night_h = 1.0}));
    EXPECT_THAT(page, HasSubstr("Before it came: 1 died, of 30 fish."));
    EXPECT_THAT(page, HasSubstr("Share by 13.0 h"));
    EXPECT_THAT(page, HasSubstr("<td>died</td><td>1 of 15</td>"));
    EXPECT_THAT(page, HasSubstr("takes 23 fish in each group."));
}

TEST(Page, points_at_nothing_outside_itself) {
    Results results = invented_study({.fish = 1, .night_h = 1.0});
    const std::string page = report_page(results);
    EXPECT_THAT(page, Not(HasSubstr("src=\"http")));
    EXPECT_THAT(page, Not(HasSubstr("href=\"http")));
    EXPECT_THAT(page, Not(HasSubstr("@import")));
    EXPECT_THAT(page, Not(HasSubstr("url(http")));
    EXPECT_EQ(times(page, "<link"), 0U);
}

TEST(Page, has_its_numbers_as_plain_text_for_readers_without_scripts) {
    const Results results = invented_study({.fish = 2, .night_h = 12.0});
    const std::string page = report_page(results);
    EXPECT_THAT(page, HasSubstr(bare_text_of(results.fish[0].metrics.peaks[0].uptake_mg_per_kg_h)));
    EXPECT_THAT(page, HasSubstr(bare_text_of(results.headlines[0].mean_without_human)));
    EXPECT_THAT(page, HasSubstr("someone knocked the chamber"));
    EXPECT_THAT(page, HasSubstr(results.inputs[0].sha256));
}

std::string chapter_of(const std::string& page) {
    const std::size_t from = page.find("<section id=\"findings\">");
    return page.substr(from, page.find("</section>", from) - from);
}

TEST(Page, answers_each_question_in_words_and_numbers) {
    const Results results = invented_study({.fish = 1, .night_h = 1.0});
    const std::string page = report_page(results);
    EXPECT_THAT(page, HasSubstr("<a href=\"#findings\">Findings</a>"));
    const std::string chapter = chapter_of(page);
    for (const auto& finding : results.findings) {
        EXPECT_THAT(chapter, HasSubstr("<h3>" + finding.ask + "</h3>"));
        EXPECT_THAT(chapter, HasSubstr(finding.sentence));
    }
    EXPECT_EQ(times(chapter, "data-figure=\"finding\""), results.findings.size() - 1)
        << "all but the one without an answer";
    EXPECT_THAT(chapter, HasSubstr("data-finding=\"7\""));
    EXPECT_THAT(chapter, HasSubstr("no usable peak: the tube leaked"));
    EXPECT_THAT(chapter, HasSubstr("look at Welch&#39;s t"));
    EXPECT_THAT(chapter, HasSubstr("declared to be no harm: not shown"));
    EXPECT_THAT(chapter, HasSubstr("over the 2 answered questions"));
    EXPECT_THAT(chapter, HasSubstr("Declared before any fish was met."));
    EXPECT_THAT(chapter, HasSubstr("Changed since it was declared."));
    EXPECT_THAT(chapter, HasSubstr("Exploratory: never declared."));
    EXPECT_THAT(chapter, HasSubstr("no row and no value of this question changes"));
    EXPECT_THAT(chapter, HasSubstr("Effects: odds ratios; 1 is no difference"));
    EXPECT_THAT(chapter, HasSubstr("<strong>Not answered:</strong>"));
    EXPECT_THAT(chapter, HasSubstr("add the column to fish.csv."));
}

TEST(Page, gives_an_effect_with_its_interval_before_its_p) {
    findings::Finding finding{.name = "q", .sentence = "s"};
    finding.effects = {{.name = "b_hook against a",
                        .value = 38.2,
                        .lower = 6.6,
                        .upper = 69.8,
                        .p = 0.0193,
                        .unit = "mg/kg/h"}};
    Results results;
    results.findings = {finding};
    const std::string chapter = chapter_of(report_page(results));
    EXPECT_THAT(chapter, HasSubstr("<th scope=\"row\">b hook against a</th><td><span class=\"quantity\">38 "
                                   "<span class=\"unit\">mg/kg/h</span></span></td><td><span "
                                   "class=\"quantity\">7 to 70</span></td><td><span "
                                   "class=\"quantity\">0.019</span></td>"));
    EXPECT_THAT(chapter, Not(HasSubstr("p, corrected")));
    results.findings[0].effects[0].p_corrected = 0.04;
    EXPECT_THAT(chapter_of(report_page(results)),
                HasSubstr("<td><span class=\"quantity\">0.040</span></td>"));
}

TEST(Page, gives_levels_that_are_the_studys_groups_the_signs_of_these) {
    findings::Finding finding{.name = "q", .sentence = "s", .levels = {"b", "a"}};
    finding.groups = {{.name = "b", .value = 1.0}, {.name = "a", .value = 2.0}};
    Results results;
    results.findings = {finding};
    EXPECT_THAT(chapter_of(report_page(results)), HasSubstr("group-0\">b<"));
    results.groups = {{"a", "a"}, {"b", "b"}};
    EXPECT_THAT(chapter_of(report_page(results)), HasSubstr("group-1\">b<"));
}

TEST(Page, of_a_study_without_questions_says_how_to_ask_one) {
    const std::string chapter = chapter_of(report_page(Results{}));
    EXPECT_THAT(chapter, HasSubstr("Add a [[question]] with name, outcome and compare to study.toml"));
}

TEST(Page, is_not_broken_by_a_question_named_like_the_end_of_a_script) {
    Results results = invented_study({.fish = 1, .night_h = 1.0});
    const std::string sound = report_page(results);
    const std::string hostile = "</script><img src=x onerror=alert(1)>\"'";
    for (auto& finding : results.findings) {
        for (auto* text :
             {&finding.name, &finding.ask, &finding.outcome, &finding.outcome_title, &finding.outcome_unit,
              &finding.compare, &finding.within, &finding.family, &finding.family_of_tests,
              &finding.correction, &finding.declared_text, &finding.sentence, &finding.model, &finding.method,
              &finding.margin_text, &finding.row_noun}) {
            *text = hostile;
        }
        for (auto* all :
             {&finding.adjusted_for, &finding.random, &finding.warnings, &finding.levels, &finding.scores}) {
            all->push_back(hostile);
        }
        finding.effects.push_back({.name = hostile, .reason = hostile, .unit = hostile, .method = hostile});
        finding.groups.push_back({.name = hostile, .value = 1.0, .unit = hostile, .method = hostile});
        finding.tests.push_back({.name = hostile, .text = hostile});
        finding.checks.push_back({.name = hostile, .text = hostile});
        finding.left_out.push_back({hostile, hostile, hostile});
        finding.points.push_back({.row = hostile, .fish = hostile, .group = hostile});
    }
    const std::string page = report_page(results);
    EXPECT_EQ(times(page, "</script"), times(sound, "</script"));
    EXPECT_EQ(times(page, "<img"), times(sound, "<img"));
}

TEST(Page, shows_degrees_as_people_write_them) {
    const std::string page = report_page(invented_study({.fish = 1, .night_h = 1.0}));
    const std::string body = page.substr(page.find("<body"), page.find("<script type") - page.find("<body"));
    EXPECT_THAT(body, HasSubstr("<span class=\"unit\">°C"));
    EXPECT_THAT(body, Not(HasSubstr("<span class=\"unit\">degC")));
}

TEST(Page, says_at_its_top_that_a_study_is_simulated) {
    Results results = invented_study({.fish = 1, .night_h = 1.0});
    EXPECT_THAT(report_page(results), HasSubstr("class=\"simulated\""));
    results.study.is_simulated = false;
    EXPECT_THAT(report_page(results), Not(HasSubstr("class=\"simulated\"")));
}

TEST(Page, of_a_study_without_fish_says_so_in_words) {
    EXPECT_THAT(report_page(Results{}), HasSubstr("No measure could be computed for any fish."));
}

TEST(Page, balances_the_tags_it_opens) {
    const std::string page = report_page(invented_study({.fish = 6, .night_h = 13.0}));
    const std::string body = page.substr(page.find("<body"), page.find("<script type") - page.find("<body"));
    for (const std::string tag : {"section", "article", "table", "tbody", "tr", "td", "th", "ul", "li", "nav",
                                  "figure", "dl", "div", "p", "span"}) {
        const std::size_t open = times(body, "<" + tag + ">") + times(body, "<" + tag + " ");
        EXPECT_EQ(open, times(body, "</" + tag + ">")) << tag;
    }
}

TEST(Bundle, can_stand_inside_script_and_style_elements) {
    const std::string script(bundle_script());
    EXPECT_EQ(script.find("</script"), std::string::npos);
    EXPECT_EQ(script.find("<!--"), std::string::npos);
    EXPECT_EQ(std::string(bundle_style()).find("</style"), std::string::npos);
}

// RFC 4648, section 10: the test vectors.
TEST(Base64, gives_the_vectors_of_the_standard) {
    EXPECT_EQ(detail::base64(""), "");
    EXPECT_EQ(detail::base64("f"), "Zg==");
    EXPECT_EQ(detail::base64("fo"), "Zm8=");
    EXPECT_EQ(detail::base64("foo"), "Zm9v");
    EXPECT_EQ(detail::base64("foob"), "Zm9vYg==");
    EXPECT_EQ(detail::base64("fooba"), "Zm9vYmE=");
    EXPECT_EQ(detail::base64("foobar"), "Zm9vYmFy");
}

} // namespace
} // namespace backeddy::report
