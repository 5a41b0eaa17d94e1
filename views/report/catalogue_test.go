package report

import "stumble/views/say/catalogue"

// en is a message of the English catalogue.
func en(key catalogue.Key, about ...any) string { return english(Metric).tell(key, about...) }
