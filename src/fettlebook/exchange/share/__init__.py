"""What leaves the program in open forms: tables, FHIR resources, a diary of duties, word of changed verdicts."""
