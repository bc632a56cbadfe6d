"""Liquids at hand over HTTP."""


def test_liquids_with_their_ph_at_a_temperature(client):
    cold = {one["key"]: one for one in client.get("/api/liquids", params={"temperature_c": "10"}).json()}
    warm = {one["key"]: one for one in client.get("/api/liquids?temperature_c=77 F").json()}
    assert cold["limewater"]["ph"] - warm["limewater"]["ph"] > 0.3
    assert warm["limewater"]["ph"] == 12.45
    assert "Caustic" in warm["limewater"]["caution"]
    assert cold["cream_of_tartar"]["ph"] is None
    assert cold["cream_of_tartar"]["temperatures_c"] == [20.0, 35.0]
    assert list(cold)[:4] == ["phthalate", "phosphate", "borax", "carbonate"]
    assert client.get("/api/liquids?temperature_c=warm").status_code == 422


def test_a_temperature_that_no_room_has_is_asked_about(client):
    asked = {
        temp: {one["temperature_question"] for one in client.get(f"/api/liquids?temperature_c={temp}").json()}
        for temp in ("21", "68")
    }
    assert asked["21"] == {""}
    (question,) = asked["68"]
    assert "20 °C" in question


def test_liquids_in_the_readers_language(client):
    english, german = (client.get(f"/api/liquids?language={which}").json() for which in ("en", "de"))
    for one, other in zip(english, german, strict=True):
        assert one["name"] != other["name"]
        assert one["made"] != other["made"]
        assert (one["key"], one["ph"], one["source"]) == (other["key"], other["ph"], other["source"])
