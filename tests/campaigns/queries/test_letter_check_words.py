"""Each rule of the letter check has its words, and shows its source."""

from campaigns.queries.letter_check_words import (
    RULE_WORDS,
    source_words,
    words_of_finding,
)
from campaigns.rules.letter_check import Finding
from campaigns.rules.letter_rules import ALL_RULES, Grade


def test_each_rule_has_words():
    assert {rule.code for rule in ALL_RULES} == set(RULE_WORDS)
    for rule in ALL_RULES:
        words = words_of_finding(Finding(rule=rule))
        assert str(words.wrong)
        assert str(words.do)


def test_what_is_cited_from_memory_says_so():
    told = {rule: source_words(Finding(rule=rule)) for rule in ALL_RULES}

    for rule, words in told.items():
        assert ("from memory" in words) is (rule.source.grade is Grade.MEMORY)
        assert words.startswith(rule.source.cite)
