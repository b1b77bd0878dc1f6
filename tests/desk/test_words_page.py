"""The page that says what the words of the site mean."""

from clubdesk.desk.words import WORDS


def test_everybody_who_signs_in_finds_every_word(client, range_helper):
    client.force_login(range_helper)
    page = client.get("/words/").content.decode()
    assert all(f">{word}</dt>" in page for word in WORDS)
    assert 'href="/words/"' in client.get("/").content.decode()


def test_the_words_stand_in_order_and_say_themselves_briefly():
    assert list(WORDS) == sorted(WORDS, key=str.lower)
    assert all(len(sentence.split()) <= 25 for meaning in WORDS.values() for sentence in meaning.split(". "))
