<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.0.0"
    xmlns="http://www.opengis.net/sld"
    xmlns:ogc="http://www.opengis.net/ogc"
    xmlns:xlink="http://www.w3.org/1999/xlink"
    xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
    xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd">
  <NamedLayer>
    <Name>probability_of_place</Name>
    <UserStyle>
      <Name>probability_of_place</Name>
      <Title>Where the picture was taken</Title>
      <Abstract>Probability that the picture was taken at each place, all places together 1.</Abstract>
      <IsDefault>1</IsDefault>
      <FeatureTypeStyle>
        <Rule>
          <Name>probability_of_place</Name>
          <Title>Where the picture was taken</Title>
          <RasterSymbolizer>
            <ColorMap>
              <ColorMapEntry color="#34406B" quantity="0" opacity="0.25" label="Not taken there"/>
              <ColorMapEntry color="#34406B" quantity="0.0001" opacity="0.5" label="0.0001: hardly"/>
              <ColorMapEntry color="#C2703D" quantity="0.002" opacity="0.75" label="0.002"/>
              <ColorMapEntry color="#F3DF9B" quantity="0.02" opacity="0.85" label="0.02"/>
              <ColorMapEntry color="#F3DF9B" quantity="1" opacity="0.85" label="All of it"/>
            </ColorMap>
          </RasterSymbolizer>
        </Rule>
      </FeatureTypeStyle>
    </UserStyle>
  </NamedLayer>
</StyledLayerDescriptor>
